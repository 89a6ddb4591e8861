"""The joint line that a person drew: what touches it, and how the margin on each side of it looks."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import Plane
from prepcheck.settings import ScoreSettings
from prepcheck.surface import SurfaceMap
from prepcheck.terms import RESIDUE, State

if TYPE_CHECKING:
    from prepcheck.score.patch import Patch

Points = NDArray[np.float64]
SideName = Literal["left", "right", "above", "below"]
_TOUCH_PX = 1.5
"""So near to the line, in map pixels, a pixel's middle lies on it or beside it, diagonally too."""
_LEAST_PX = 4.0
"""A shorter line, in map pixels, is a dot."""
_ROUNDING = 1e-9
"""Of distances, so that what lies exactly at an edge counts the same everywhere."""
_AT_ONCE = 200_000
"""Points whose distances are measured at one time, so that memory stays bounded."""


@dataclass(frozen=True, eq=False)
class JointLine:
    """Where the joint runs.

    Parameters
    ----------
    points : ndarray, shape (n, 2), float64
        Its corners as (x, y) in pixels of the upright full-size photo, from one end to the other.
    margin_mm : float or None
        The margin's width on each side as the person states it; None takes it from the settings.
    """

    points: Points = field(repr=False)
    margin_mm: float | None = None

    def simple(self, surface: SurfaceMap) -> Points:
        """Return the line in full-size pixels without corners that move it by less than half a map pixel."""
        on_map = surface.from_full(self.points).astype(np.float32)
        kept = cv2.approxPolyDP(on_map[:, None], 0.5, closed=False)[:, 0, :].astype(np.float64)
        moves = np.append(np.any(np.diff(kept, axis=0) != 0, axis=1), True)
        return surface.to_full(kept[moves])

    def is_dot(self, surface: SurfaceMap) -> bool:
        """Say whether the line is too short to run anywhere."""
        return float(np.ptp(surface.from_full(self.points), axis=0).max()) < _LEAST_PX


@dataclass(frozen=True)
class Side:
    """The margin on one side of the joint.

    Parameters
    ----------
    name : str
        Where it lies in the photo, seen from the line: ``left``, ``right``, ``above`` or ``below``.
    shares : dict of str to float
        Shares of its area on the surface, which sum to 1: ``bright``, ``residue``, ``cannot_tell`` inside a spot, and
        ``not_ground`` outside every spot. What is no part of the work (background, holes) is left out.
    area_mm2 : float
        Area that the shares are of.
    clear_mm : float
        From the line to the nearest residue patch or surface that is not ground; the margin's width at most.
    outline : ndarray, shape (n, 2), float64
        Its outline in full-size pixels.
    """

    name: SideName
    shares: dict[str, float]
    area_mm2: float
    clear_mm: float
    outline: Points = field(repr=False)


@dataclass(frozen=True, eq=False)
class Joint:
    """What was seen at the joint line.

    Parameters
    ----------
    line : JointLine
        The line.
    margin_mm : float or None
        Width judged on each side; None without a scale, then only touching is judged.
    sides : tuple of Side
        One for each side that is in the photo.
    touching : tuple of Patch
        Residue patches that touch the line.
    """

    line: JointLine
    margin_mm: float | None
    sides: tuple[Side, ...]
    touching: tuple[Patch, ...]


def reach_of(
    line: JointLine, surface: SurfaceMap, plane: Plane | None, rule: ScoreSettings, pixels: Points
) -> NDArray[np.bool_]:
    """Say of each full-size position in `pixels`, shape (n, 2), whether it touches the line; shape (n,)."""
    points = line.simple(surface)
    touching = abs(distances(points, pixels)[0]) <= _TOUCH_PX * float(np.mean(surface.reduction))
    if plane is not None:
        touching |= abs(distances(on_plane(plane, points), on_plane(plane, pixels))[0]) <= rule.joint_touch_mm
    return touching


def distances(line: Points, points: Points) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return the signed distance of `points`, shape (n, 2), to a polyline, and whether each lies beside it.

    The sign tells the side, by the nearest piece, or at a corner by the mean of the normals of both pieces. A point beyond
    an end, nearest to the end itself, does not lie beside the line.
    """
    parts = [_distances(line, points[k : k + _AT_ONCE]) for k in range(0, len(points), _AT_ONCE)]
    if not parts:
        return np.zeros(0), np.zeros(0, bool)
    return np.concatenate([d for d, _ in parts]), np.concatenate([b for _, b in parts])


def _distances(line: Points, points: Points) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    x, y = np.ascontiguousarray(points.T)
    squared, side, beside = np.full(len(x), np.inf), np.ones(len(x)), np.ones(len(x), bool)
    normals = _normals(line)
    for k, (start, end) in enumerate(pairwise(line)):
        way = end - start
        right, down = x - start[0], y - start[1]
        along = (right * way[0] + down * way[1]) / float(way @ way)
        held = np.clip(along, 0, 1)
        right, down = right - held * way[0], down - held * way[1]
        off = right * right + down * down
        closer = np.flatnonzero(off < squared)
        squared[closer] = off[closer]
        near = along[closer]
        facing = np.where(near < 0, 0, np.where(near > 1, 2, 1))
        normal = np.array([normals[k], _normal(way), normals[k + 1]])[facing]
        side[closer] = np.where(right[closer] * normal[:, 0] + down[closer] * normal[:, 1] < 0, -1.0, 1.0)
        beside[closer] = ~(((near < -_ROUNDING) & (k == 0)) | ((near > 1 + _ROUNDING) & (k == len(line) - 2)))
    return np.sqrt(squared) * side, beside


def _normals(line: Points) -> Points:
    """Return the normal at each corner: the mean of those of the pieces that meet there."""
    pieces = np.array([_normal(way) for way in np.diff(line, axis=0)])
    return np.vstack([pieces[:1], pieces[:-1] + pieces[1:], pieces[-1:]])


def _normal(way: Points) -> Points:
    return np.asarray(np.array([-way[1], way[0]]) / np.hypot(*way))


def judge_sides(
    line: JointLine,
    ground: NDArray[np.bool_],
    patches: NDArray[np.bool_],
    surface: SurfaceMap,
    plane: Plane,
    rule: ScoreSettings,
) -> tuple[Side, ...]:
    """Judge the margin on each side of the line.

    Parameters
    ----------
    ground, patches : ndarray, shape (h, w), bool
        Map pixels inside any spot, and those of residue patches.
    surface, plane, rule
        The map, the plane of the surface, and the margin's width.
    """
    margin_mm = margin_of(line, rule)
    strip = _Strip.beside(line, surface, plane, margin_mm)
    middle = line.simple(surface).mean(axis=0)
    one, other = (strip.points[strip.off * sign > 0] for sign in (1, -1))
    sides = []
    for sign, here, there in ((1, one, other), (-1, other, one)):
        if len(here):
            name = _name(here.mean(axis=0) - (there.mean(axis=0) if len(there) else middle))
            sides.append(_side(name, strip.on(sign), ground, patches, surface, margin_mm))
    return tuple(side for side in sides if side.area_mm2 > 0)


def margin_of(line: JointLine, rule: ScoreSettings) -> float:
    """Return the width in mm of the margin on each side: as stated, or that of the settings."""
    return rule.joint_margin_mm if line.margin_mm is None else line.margin_mm


@dataclass(frozen=True, eq=False)
class _Strip:
    """Map pixels within the margin: rows, columns, full-size positions, distances off the line and areas (mm, mm2)."""

    rows: NDArray[np.intp]
    columns: NDArray[np.intp]
    points: Points
    off: NDArray[np.float64]
    areas: NDArray[np.float64]

    @classmethod
    def beside(cls, line: JointLine, surface: SurfaceMap, plane: Plane, margin_mm: float) -> _Strip:
        """Find the pixels beside the line, not beyond its ends."""
        corners = line.simple(surface)
        rows, columns = _near(corners, surface, plane, margin_mm)
        points = surface.to_full(np.column_stack([columns, rows]).astype(np.float64))
        off, beside = distances(on_plane(plane, corners), on_plane(plane, points))
        kept = beside & (abs(off) <= margin_mm + _ROUNDING) & (abs(off) > _ROUNDING)  # a pixel on the line has no side
        areas = plane.areas(points[kept]) * float(np.prod(surface.reduction))
        return cls(rows[kept], columns[kept], points[kept], off[kept], areas)

    def on(self, sign: int) -> _Strip:
        """Return the pixels on one side."""
        kept = self.off * sign > 0
        return _Strip(self.rows[kept], self.columns[kept], self.points[kept], abs(self.off[kept]), self.areas[kept])


def _near(
    corners: Points, surface: SurfaceMap, plane: Plane, margin_mm: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return rows and columns of the map pixels whose place on the plane lies in the line's box, grown by the margin."""
    height, width = surface.states.shape
    rows, columns = np.divmod(np.arange(height * width), width)
    mm = on_plane(plane, surface.to_full(np.column_stack([columns, rows]).astype(np.float64)))
    line = on_plane(plane, corners)
    inside = ((mm >= line.min(axis=0) - margin_mm) & (mm <= line.max(axis=0) + margin_mm)).all(axis=1)
    return rows[inside], columns[inside]


def _side(
    name: SideName,
    strip: _Strip,
    ground: NDArray[np.bool_],
    patches: NDArray[np.bool_],
    surface: SurfaceMap,
    margin_mm: float,
) -> Side:
    at = (strip.rows, strip.columns)
    states, inside = surface.states[at], ground[at]
    kinds = {
        "bright": inside & (states == State.BRIGHT),
        "residue": inside & np.isin(states, RESIDUE),
        "cannot_tell": inside & np.isin(states, (State.CANNOT_TELL, State.BACKGROUND)),
        "not_ground": ~inside & (states != State.BACKGROUND),
    }
    areas = {kind: float(strip.areas[where].sum()) for kind, where in kinds.items()}
    total = sum(areas.values())
    blocked = strip.off[kinds["not_ground"] | patches[at]]
    return Side(
        name=name,
        shares={kind: area / total for kind, area in areas.items()} if total else dict.fromkeys(areas, 0.0),
        area_mm2=total,
        clear_mm=float(blocked.min()) if len(blocked) else margin_mm,
        outline=_outline(at, surface),
    )


def _outline(at: tuple[NDArray[np.intp], NDArray[np.intp]], surface: SurfaceMap) -> Points:
    mask = np.zeros(surface.states.shape, np.uint8)
    mask[at] = 1
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    simple = cv2.approxPolyDP(max(contours, key=cv2.contourArea), 1.0, closed=True)[:, 0, :]
    return surface.to_full(simple.astype(np.float64))


def _name(way: Points) -> SideName:
    x, y = way
    if abs(x) > abs(y):
        return "right" if x > 0 else "left"
    return "below" if y > 0 else "above"


def on_plane(plane: Plane, points: Points) -> Points:
    """Turn full-size pixel positions (n, 2) into mm on the plane."""
    turned: Points = cv2.perspectiveTransform(np.asarray(points, np.float64)[None], plane.to_mm)[0]
    return turned
