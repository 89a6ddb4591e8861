"""The unit area: the square tile by which the worst place of a spot is judged."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from cv2.typing import MatLike
from numpy.typing import NDArray

from prepcheck.photo import Plane
from prepcheck.score.joint import on_plane
from prepcheck.score.share import BrightShare, bright_share
from prepcheck.spot import Spot
from prepcheck.surface import SurfaceMap
from prepcheck.terms import State

_STEP_MM = 1.0
_MOST_CELLS = 4000


@dataclass(frozen=True, eq=False)
class UnitArea:
    """The worst unit area of a spot: its share, and where it lies.

    Parameters
    ----------
    share : BrightShare
        Bright share in it.
    outline : ndarray, shape (4, 2), float64, or None
        Corners of the tile in full-size pixels; None when the whole spot is the unit.
    """

    share: BrightShare
    outline: NDArray[np.float64] | None = field(default=None, repr=False)


def worst_unit_area(
    surface: SurfaceMap, spot: Spot, whole: BrightShare, plane: Plane | None, side_mm: float
) -> UnitArea:
    """Find the tile of `side_mm` with the least bright metal; the whole spot when it is smaller or has no scale.

    Tiles lie square to the plane's axes, a step of 1 mm apart, and hold at least half a tile of the spot. `whole` is the
    share over the whole spot.
    """
    if plane is None:
        return UnitArea(whole)
    corners = on_plane(plane, spot.outline)
    low, size = corners.min(axis=0), np.ptp(corners, axis=0)
    if (size <= side_mm).all() or (size / _STEP_MM > _MOST_CELLS).any():
        return UnitArea(whole)
    tile = _worst_tile(surface, spot, plane, low, size, side_mm)
    if tile is None:
        return UnitArea(whole)
    inside = np.zeros(spot.mask.shape, np.uint8)
    cv2.fillPoly(inside, [np.round(surface.from_full(tile)).astype(np.int32)], 1)
    share = bright_share(surface, spot.mask & inside.astype(bool))
    return UnitArea(share, tile) if share.most_residue >= whole.most_residue else UnitArea(whole)


def _worst_tile(
    surface: SurfaceMap,
    spot: Spot,
    plane: Plane,
    low: NDArray[np.float64],
    size: NDArray[np.float64],
    side_mm: float,
) -> NDArray[np.float64] | None:
    to_cells = _map_to_cells(surface, plane, low)
    cells = tuple(int(n) for n in np.ceil(size / _STEP_MM).astype(int) + 1)
    side = max(1, round(side_mm / _STEP_MM))
    not_bright = (spot.mask & (surface.states != State.BRIGHT)).astype(np.float32)
    area = _sums(cv2.warpPerspective(spot.mask.astype(np.float32), to_cells, cells), side)
    bad = _sums(cv2.warpPerspective(not_bright, to_cells, cells), side)
    full = area >= side * side / 2
    if not full.any():
        return None
    share = np.where(full, bad / np.maximum(area, 1), -1.0)
    y, x = np.unravel_index(int(share.argmax()), share.shape)
    square = (np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * side + (x, y)) * _STEP_MM + low
    to_px = np.asarray(np.linalg.inv(plane.to_mm), np.float64)
    return on_plane(Plane(to_px, plane.relative_error, plane.source), square)


def _map_to_cells(surface: SurfaceMap, plane: Plane, low: NDArray[np.float64]) -> NDArray[np.float64]:
    rx, ry = surface.reduction
    to_full = np.array([[rx, 0, (rx - 1) / 2], [0, ry, (ry - 1) / 2], [0, 0, 1]])
    to_cell = np.array([[1 / _STEP_MM, 0, -low[0] / _STEP_MM], [0, 1 / _STEP_MM, -low[1] / _STEP_MM], [0, 0, 1]])
    return np.asarray(to_cell @ plane.to_mm @ to_full, np.float64)


def _sums(cells: MatLike, side: int) -> NDArray[np.float64]:
    """Sum over each tile of `side` cells whose first cell is (y, x); tiles may run over the far edges."""
    padded = np.pad(cells, ((0, side), (0, side)))
    total = cv2.integral(padded, sdepth=cv2.CV_64F)
    sums = total[side:, side:] - total[:-side, side:] - total[side:, :-side] + total[:-side, :-side]
    return np.asarray(sums, np.float64)
