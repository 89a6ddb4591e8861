"""Residue patches: connected places inside a spot that are not bright metal."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import Plane
from prepcheck.score.joint import JointLine, on_plane, reach_of
from prepcheck.settings import ScoreSettings
from prepcheck.surface import SurfaceMap
from prepcheck.terms import State

_LEAST_PX = 4
"""Smaller places, in map pixels, are no patches."""


@dataclass(frozen=True)
class Patch:
    """One residue patch.

    Parameters
    ----------
    state : State
        Its most frequent state.
    at : tuple of float
        A place inside it, (x, y) in full-size pixels.
    area_px : float
        Area in full-size pixels.
    area_mm2 : float or None
        Area on the surface; None without a scale.
    length_px, length_mm : float, float or None
        Greatest extent.
    probability : float
        Mean probability that its pixels are not bright metal.
    long : bool
        Whether it is longer than the limit.
    sure : bool
        Whether a connected core of it, each pixel of which is residue with at least the probability that counts as
        sure, is longer than the limit.
    at_joint, surely_at_joint : bool
        Whether it touches the joint line, and whether a sure core of it does.
    """

    state: State
    at: tuple[float, float]
    area_px: float
    area_mm2: float | None
    length_px: float
    length_mm: float | None
    probability: float
    long: bool
    sure: bool
    at_joint: bool = False
    surely_at_joint: bool = False


def find_patches(
    surface: SurfaceMap,
    mask: NDArray[np.bool_],
    plane: Plane | None,
    rule: ScoreSettings,
    joint: JointLine | None = None,
) -> tuple[Patch, ...]:
    """Find the residue patches in `mask`, shape (h, w), longest first.

    Pixels that cannot be told do not join patches. The limit of length is `rule.patch_limit_mm`, or a share of the
    spot's width where no scale is known. `joint` is the joint line, if one was drawn.
    """
    ruler = _Ruler(surface, plane, rule, mask_width(surface, mask), joint)
    patches = [_patch(ruler, *place) for place in _connected(mask & surface.told_residue)]
    return tuple(sorted(patches, key=lambda patch: patch.length_mm or patch.length_px, reverse=True))


def patch_mask(surface: SurfaceMap, mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the pixels of `mask` that belong to residue patches, shape (h, w), bool."""
    found = np.zeros_like(mask)
    for inside, (x, y) in _connected(mask & surface.told_residue):
        found[y : y + inside.shape[0], x : x + inside.shape[1]] |= inside
    return found


def mask_width(surface: SurfaceMap, mask: NDArray[np.bool_]) -> float:
    """Return the width of `mask` in full-size pixels: the side of the square of the same area as its box."""
    _, _, width, height = cv2.boundingRect(mask.astype(np.uint8))
    return float(np.sqrt(width * height * np.prod(surface.reduction)))


def _connected(mask: NDArray[np.bool_]) -> Iterator[tuple[NDArray[np.bool_], tuple[int, int]]]:
    """Give each connected place of at least `_LEAST_PX` pixels, cut out, with its first column and row."""
    left, top, width, height = cv2.boundingRect(mask.view(np.uint8))
    if width == 0:
        return
    box = mask[top : top + height, left : left + width]
    count, labels, stats, _ = cv2.connectedComponentsWithStats(box.astype(np.uint8), connectivity=8)
    for label in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[label])
        if area >= _LEAST_PX:
            yield labels[y : y + h, x : x + w] == label, (left + x, top + y)


def pixel_areas(
    surface: SurfaceMap, plane: Plane, mask: NDArray[np.bool_], corner: tuple[int, int] = (0, 0)
) -> NDArray[np.float64]:
    """Return the area in mm2 on `plane` of each map pixel set in `mask`, whose first pixel is map pixel `corner`."""
    ys, xs = np.nonzero(mask)
    points = surface.to_full(np.column_stack([xs + corner[0], ys + corner[1]]).astype(np.float64))
    return np.asarray(plane.areas(points) * np.prod(surface.reduction), np.float64)


def extent(points: NDArray[np.float64]) -> float:
    """Return the greatest distance between any two of `points`, shape (n, 2)."""
    hull = cv2.convexHull(points.astype(np.float32))[:, 0, :].astype(np.float64)
    return float(np.linalg.norm(hull[:, None] - hull[None, :], axis=2).max())


@dataclass(frozen=True, eq=False)
class _Ruler:
    """Measures places, cut out of a map with their first column and row, and holds them against the limit of length."""

    surface: SurfaceMap
    plane: Plane | None
    rule: ScoreSettings
    width: float
    joint: JointLine | None = None

    def lengths(self, inside: NDArray[np.bool_], corner: tuple[int, int]) -> tuple[float, float | None]:
        """Return the greatest extent of a place in full-size pixels and, with a plane, in mm."""
        ys, xs = np.nonzero(inside)
        corners = _pixel_corners(self.surface, xs + corner[0], ys + corner[1])
        return extent(corners), None if self.plane is None else extent(on_plane(self.plane, corners))

    def too_long(self, length_px: float, length_mm: float | None) -> bool:
        """Say whether a length is over the limit: in mm when a scale is known, else as a share of the spot's width."""
        if length_mm is not None:
            return length_mm > self.rule.patch_limit_mm
        return length_px > self.rule.patch_limit_share * self.width

    def has_sure_core(self, inside: NDArray[np.bool_], corner: tuple[int, int]) -> bool:
        """Say whether a connected core of a place, sure at each pixel, is over the limit."""
        return any(self.too_long(*self.lengths(*core)) for core in self.sure_cores(inside, corner))

    def sure_cores(
        self, inside: NDArray[np.bool_], corner: tuple[int, int]
    ) -> Iterator[tuple[NDArray[np.bool_], tuple[int, int]]]:
        """Give each connected core of a place that is sure at each pixel."""
        x, y = corner
        box = np.s_[y : y + inside.shape[0], x : x + inside.shape[1]]
        sure = inside & (self.surface.residue[box] >= self.rule.sure_patch_probability)
        for core, (dx, dy) in _connected(sure):
            yield core, (x + dx, y + dy)

    def at_joint(self, inside: NDArray[np.bool_], corner: tuple[int, int]) -> bool:
        """Say whether a place touches the joint line."""
        if self.joint is None:
            return False
        ys, xs = np.nonzero(inside)
        middles = self.surface.to_full(np.column_stack([xs + corner[0], ys + corner[1]]).astype(np.float64))
        return bool(reach_of(self.joint, self.surface, self.plane, self.rule, middles).any())


def _patch(ruler: _Ruler, inside: NDArray[np.bool_], corner: tuple[int, int]) -> Patch:
    surface, plane = ruler.surface, ruler.plane
    ys, xs = np.nonzero(inside)
    rows, columns = ys + corner[1], xs + corner[0]
    length_px, length_mm = ruler.lengths(inside, corner)
    long = ruler.too_long(length_px, length_mm)
    states = np.bincount(surface.states[rows, columns], minlength=6)
    at_joint = ruler.at_joint(inside, corner)
    return Patch(
        state=State(int(states.argmax())),
        at=_deepest(surface, inside, corner),
        area_px=len(xs) * float(np.prod(surface.reduction)),
        area_mm2=None if plane is None else float(pixel_areas(surface, plane, inside, corner).sum()),
        length_px=length_px,
        length_mm=length_mm,
        probability=float(surface.residue[rows, columns].mean()),
        long=long,
        sure=long and ruler.has_sure_core(inside, corner),
        at_joint=at_joint,
        surely_at_joint=at_joint and any(ruler.at_joint(*core) for core in ruler.sure_cores(inside, corner)),
    )


def _pixel_corners(surface: SurfaceMap, xs: NDArray[np.intp], ys: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return the outer corners of pixels, so that a single pixel has the length of its diagonal."""
    middles = np.column_stack([xs, ys]).astype(np.float64)
    if len(middles) > 8:
        middles = cv2.convexHull(middles.astype(np.float32))[:, 0, :].astype(np.float64)
    steps = np.array([[-0.5, -0.5], [0.5, -0.5], [-0.5, 0.5], [0.5, 0.5]])
    return surface.to_full((middles[:, None] + steps).reshape(-1, 2))


def _deepest(surface: SurfaceMap, inside: NDArray[np.bool_], corner: tuple[int, int]) -> tuple[float, float]:
    depth = cv2.distanceTransform(np.pad(inside, 1).astype(np.uint8), cv2.DIST_L2, 3)
    y, x = np.unravel_index(int(depth.argmax()), depth.shape)
    place = surface.to_full(np.array([[corner[0] + x - 1, corner[1] + y - 1]], np.float64))[0]
    return float(place[0]), float(place[1])
