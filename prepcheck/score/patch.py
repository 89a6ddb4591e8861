"""Residue patches: connected places inside a spot that are not bright metal."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import Plane
from prepcheck.surface import SurfaceMap
from prepcheck.terms import RESIDUE, State


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
    """

    state: State
    at: tuple[float, float]
    area_px: float
    area_mm2: float | None
    length_px: float
    length_mm: float | None
    probability: float


def find_patches(
    surface: SurfaceMap, mask: NDArray[np.bool_], plane: Plane | None, least_px: int = 4
) -> tuple[Patch, ...]:
    """Find the residue patches in `mask`, shape (h, w), longest first; those under `least_px` map pixels are left out.

    Pixels that cannot be told do not join patches.
    """
    residue = (mask & np.isin(surface.states, RESIDUE)).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(residue, connectivity=8)
    patches = []
    for label in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[label])
        if area >= least_px:
            box = np.s_[y : y + h, x : x + w]
            patches.append(_patch(surface, labels[box] == label, (x, y), plane))
    return tuple(sorted(patches, key=lambda patch: patch.length_mm or patch.length_px, reverse=True))


def pixel_areas(
    surface: SurfaceMap, plane: Plane, mask: NDArray[np.bool_], corner: tuple[int, int] = (0, 0)
) -> NDArray[np.float64]:
    """Return the area in mm2 on `plane` of each map pixel set in `mask`, whose first pixel is map pixel `corner`.

    The area scale of a homography H at (x, y) is abs(det H) / abs(w)**3, w being its third coordinate there.
    """
    ys, xs = np.nonzero(mask)
    points = surface.to_full(np.column_stack([xs + corner[0], ys + corner[1]]).astype(np.float64))
    third = points @ plane.to_mm[2, :2] + plane.to_mm[2, 2]
    areas: NDArray[np.float64] = abs(np.linalg.det(plane.to_mm)) / np.abs(third) ** 3 * np.prod(surface.reduction)
    return areas


def extent(points: NDArray[np.float64]) -> float:
    """Return the greatest distance between any two of `points`, shape (n, 2)."""
    hull = cv2.convexHull(points.astype(np.float32))[:, 0, :].astype(np.float64)
    return float(np.linalg.norm(hull[:, None] - hull[None, :], axis=2).max())


def _patch(surface: SurfaceMap, inside: NDArray[np.bool_], corner: tuple[int, int], plane: Plane | None) -> Patch:
    ys, xs = np.nonzero(inside)
    rows, columns = ys + corner[1], xs + corner[0]
    corners = _pixel_corners(surface, columns, rows)
    states = np.bincount(surface.states[rows, columns], minlength=6)
    return Patch(
        state=State(int(states.argmax())),
        at=_deepest(surface, inside, corner),
        area_px=len(xs) * float(np.prod(surface.reduction)),
        area_mm2=None if plane is None else float(pixel_areas(surface, plane, inside, corner).sum()),
        length_px=extent(corners),
        length_mm=None if plane is None else extent(on_plane(plane, corners)),
        probability=float(surface.residue[rows, columns].mean()),
    )


def on_plane(plane: Plane, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn full-size pixel positions (n, 2) into mm on the plane."""
    turned: NDArray[np.float64] = cv2.perspectiveTransform(points[None], plane.to_mm)[0]
    return turned


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
