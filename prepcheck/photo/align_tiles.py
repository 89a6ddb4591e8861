"""Tiles of one picture looked for in another: how far off a homography is, where, and how surely."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Plain = NDArray[np.float32]

_TILE = 56
_REACH = 10
_FAR_REACH = 28
_LEAST_LIKE = 0.3
"""Least correlation of a tile that counts as found at all."""
_NEAR = 3.0
"""Pixels within which a found tile agrees."""
_FACTOR = 2.0
"""Errors of neighbouring tiles go together, so the error is more than they say one by one."""
_FLOOR = 0.3
"""Pixels: parts are not quite plane, which tiles laid on their plane do not tell."""
_USUAL = np.array([4.0, 10, 10, 4, 10, 10, 6, 6])
"""Pixels by which a climb leaves each of the eight changes off, at the edge of the picture, before tiles are asked."""


@dataclass(frozen=True, eq=False)
class Tiles:
    """Tiles that were looked for. Pixels of the first picture.

    Parameters
    ----------
    at, off : ndarray, shape (n, 2), float64
        Middle of each tile, and where it was found against where the homography says.
    agree : ndarray, shape (n,), bool
        Whether it was found there.
    looked : ndarray, shape (m, 2), float64
        Middle of each tile in which both pictures show something, found or not.
    size : tuple of int
        Width and height of the picture.
    """

    at: Array = field(repr=False)
    off: Array = field(repr=False)
    agree: NDArray[np.bool_] = field(repr=False)
    looked: Array = field(repr=False)
    size: tuple[int, int]

    @property
    def error(self) -> float:
        """Estimated error of the homography over the tiles looked for, root mean square, in pixels.

        Far from the tiles that agree the error grows, as it does when only the surroundings of a ground spot stayed.
        """
        if self.agree.sum() < 5:
            return float("inf")
        fit = _fit(self)
        rows = _rows(self.looked, self.size)
        spread = np.einsum("nij,jk,nik->n", rows, fit.spread, rows)
        left = np.einsum("nij,j->ni", rows, fit.values)
        return float(np.hypot(_FACTOR * np.sqrt(np.mean(spread + (left**2).sum(axis=1))), _FLOOR))


@dataclass(frozen=True, eq=False)
class _Fit:
    values: Array
    spread: Array


def look_for_tiles(one: Plain, two: Plain, matrix: Array, reach: int = _REACH) -> Tiles:
    """Look for tiles of `one` in `two`.

    Parameters
    ----------
    one, two : ndarray, shape (h, w), float32
        Strength of contrast; 0 where it is to be ignored.
    matrix : ndarray, shape (3, 3), float64
        Homography from pixels of `one` to those of `two`.
    reach : int
        How far from where the homography says, in pixels.
    """
    size = (one.shape[1], one.shape[0])
    laid = np.asarray(cv2.warpPerspective(two, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP), np.float32)
    looked = [(int(x), int(y)) for y, x in np.argwhere(_shows(one, reach) & _shows(laid, reach)) * _TILE + reach]
    found = [(x, y, *off) for x, y in looked if (off := _found(one, laid, x, y, reach)) is not None]
    table, middle = np.array(found, np.float64).reshape(-1, 4), (_TILE - 1) / 2
    near = np.hypot(table[:, 2], table[:, 3]) <= _NEAR
    return Tiles(table[:, :2] + middle, table[:, 2:], near, np.array(looked, np.float64).reshape(-1, 2) + middle, size)


def _shows(strength: Plain, reach: int) -> NDArray[np.bool_]:
    """Say of each tile, `reach` pixels and more off the rim, whether there is something in it to be found again."""
    rows, columns = ((side - 2 * reach) // _TILE for side in strength.shape)
    if min(rows, columns) < 1:
        return np.zeros((0, 0), np.bool_)
    inner = strength[reach : reach + rows * _TILE, reach : reach + columns * _TILE]
    tiles = inner.reshape(rows, _TILE, columns, _TILE)
    return np.asarray(((tiles > 0).mean(axis=(1, 3)) >= 0.7) & (tiles.std(axis=(1, 3)) >= 0.1))


def _found(one: Plain, laid: Plain, x: int, y: int, reach: int) -> tuple[float, float] | None:
    tile = one[y : y + _TILE, x : x + _TILE]
    around = laid[y - reach : y + _TILE + reach, x - reach : x + _TILE + reach]
    like = np.asarray(cv2.matchTemplate(around, tile, cv2.TM_CCOEFF_NORMED), np.float32)
    _, best, _, (column, row) = cv2.minMaxLoc(like)
    if best < _LEAST_LIKE or not (0 < column < 2 * reach and 0 < row < 2 * reach):
        return None
    across = _top(like[row, column - 1 : column + 2])
    down = _top(like[row - 1 : row + 2, column])
    return column - reach + across, row - reach + down


def _top(three: Plain) -> float:
    """Place of the top of a parabola through three values, from the middle one."""
    left, middle, right = (float(value) for value in three)
    bend = left - 2 * middle + right
    return 0.0 if bend >= 0 else float(np.clip((left - right) / (2 * bend), -0.5, 0.5))


def _rows(at: Array, size: tuple[int, int]) -> Array:
    """Return how a displacement depends on the eight small changes of a homography, shape (n, 2, 8)."""
    u, v = ((at - np.array(size) / 2) / (max(size) / 2)).T
    one, none = np.ones_like(u), np.zeros_like(u)
    across = np.stack([one, u, v, none, none, none, u * u, u * v], axis=1)
    down = np.stack([none, none, none, one, u, v, u * v, v * v], axis=1)
    return np.stack([across, down], axis=1)


def _fit(tiles: Tiles) -> _Fit:
    """Fit the change to the tiles that agree, far ones counting less and less (Cauchy weights)."""
    rows, off = _rows(tiles.at[tiles.agree], tiles.size), tiles.off[tiles.agree]
    weights, variance, prior = np.ones(len(off)), 1.0, np.diag(1 / _USUAL**2)
    values, spread = np.zeros(8), np.eye(8)
    for _ in range(8):
        stiff = np.einsum("n,nij,nik->jk", weights, rows, rows) / variance + prior
        spread = np.linalg.inv(stiff)
        values = spread @ np.einsum("n,nij,ni->j", weights, rows, off) / variance
        left = ((off - np.einsum("nij,j->ni", rows, values)) ** 2).sum(axis=1)
        scale = max(float(np.median(left)) / 1.39, 0.01)
        weights = 1 / (1 + left / (4 * scale))
        variance = max(float((weights * left).sum() / max(2 * weights.sum() - 8, 2.0)), 0.0025)
    return _Fit(values, spread)


def corrected(matrix: Array, tiles: Tiles) -> tuple[Array, float]:
    """Return `matrix` moved to where the tiles were found, and by how many pixels at most; not when fewer than five agree."""
    if tiles.agree.sum() < 5:
        return matrix, 0.0
    width, height = tiles.size
    corners = np.array([(0, 0), (width - 1, 0), (width - 1, height - 1), (0, height - 1)], np.float64)
    shift = _rows(corners, tiles.size) @ _fit(tiles).values
    change = cv2.getPerspectiveTransform(corners.astype(np.float32), (corners + shift).astype(np.float32))
    return np.asarray(matrix @ change, np.float64), float(np.hypot(*shift.T).max())


def drawn_from_afar(one: Plain, two: Plain, matrix: Array) -> Array:
    """Return `matrix` moved to where most tiles are found within a long reach, as it was when too few are."""
    tiles = look_for_tiles(one, two, matrix, _FAR_REACH)
    if len(tiles.at) < 12:
        return matrix
    found, _ = cv2.findHomography(tiles.at, tiles.at + tiles.off, cv2.USAC_MAGSAC, 2.0, maxIters=2000, confidence=0.999)
    return matrix if found is None else np.asarray(matrix @ found, np.float64)
