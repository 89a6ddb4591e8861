"""A systematic grid of points over a photo or inside an outline of it (ASTM E562)."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import WrongUse
from prepcheck.trade.facts import Fact, Mark

FEWEST, MOST = 9, 2000
"""How many points a grid may be asked for."""
_CLOSEST_PX = 4
"""Points closer than this are one place to the eye, and to the tool's map."""
_TABLE = "ASTM E562, Table 3"

Points = NDArray[np.float64]

GRID_CHOICE: tuple[tuple[str, Fact], ...] = (
    ("2 to 5 %", Fact(100, "points", _TABLE, Mark.MEMORY)),
    ("5 to 10 %", Fact(49, "points", _TABLE, Mark.MEMORY)),
    ("10 to 20 %", Fact(25, "points", _TABLE, Mark.MEMORY)),
    ("over 20 %", Fact(16, "points", _TABLE, Mark.MEMORY)),
)
"""Points of a field by the rough share of what is counted; only ever shown."""


@dataclass(frozen=True, eq=False)
class Grid:
    """Points (n, 2), (x, y) in pixels of the upright photo with centres at whole numbers, row by row from the top.

    `pitch` is the distance of neighbours in pixels, `seed` fixed the offset, `outline` (m, 2) bounds them; None for the
    whole photo.
    """

    points: Points = field(repr=False)
    pitch: float
    seed: int
    outline: Points | None = field(default=None, repr=False)


def lay_grid(size: tuple[int, int], wished: int, seed: int, outline: Points | None = None) -> Grid:
    """Lay a square array of points with a seeded offset over a photo, or inside an outline of it.

    The offset is drawn evenly over one mesh, so that each place is as likely to be hit as any other and the share of
    points that hit something is right on average for its share of the area (E562 section 3.2.2). How many points lie
    inside depends on the offset; about `wished` do.

    Parameters
    ----------
    size : tuple of int
        Width and height of the upright photo in pixels.
    wished : int
        About how many points.
    seed : int
        Of the offset.
    outline : ndarray, shape (m, 2), optional
        Corners, (x, y) in the photo's pixels.

    Raises
    ------
    WrongUse
        Too few or too many points are wished for, or they would lie closer than 4 pixels or not inside.
    """
    if not FEWEST <= wished <= MOST:
        raise WrongUse(f"a grid of {wished} points cannot be laid", f"Ask for {FEWEST} to {MOST}")
    edge = whole(size) if outline is None else outline
    if (edge < whole(size).min(axis=0)).any() or (edge > whole(size).max(axis=0)).any():
        raise WrongUse(
            f"the outline leaves the photo of {size[0]} x {size[1]} pixels", "Draw it in pixels of the photo"
        )
    pitch = math.sqrt(cv2.contourArea(edge.astype(np.float32)) / wished)
    if pitch < _CLOSEST_PX:
        raise WrongUse(f"{wished} points would lie {pitch:.1f} px apart", "Ask for fewer points, or go closer")
    points = _mesh(size, pitch, seed)
    kept = points[[cv2.pointPolygonTest(edge.astype(np.float32), (x, y), False) >= 0 for x, y in points.tolist()]]
    if not len(kept):
        raise WrongUse("no point of the grid lies inside the outline", "Ask for more points, or draw it larger")
    return Grid(kept, pitch, seed, outline)


def whole(size: tuple[int, int]) -> Points:
    """Return the outline of a whole photo of `size` (width, height)."""
    right, bottom = size[0] - 0.5, size[1] - 0.5
    return np.array([[-0.5, -0.5], [right, -0.5], [right, bottom], [-0.5, bottom]])


def seed_of(sha256: str) -> int:
    """Return the seed that a photo has unless one is stated: its own, and the same each time."""
    return int(hashlib.sha256(f"points {sha256}".encode()).hexdigest()[:8], 16)


def _mesh(size: tuple[int, int], pitch: float, seed: int) -> Points:
    start = np.random.default_rng(seed).uniform(0, pitch, 2) - 0.5
    columns, rows = (np.arange(first, side - 0.5, pitch) for first, side in zip(start, size, strict=True))
    y, x = np.meshgrid(rows, columns, indexing="ij")
    return np.round(np.stack([x.ravel(), y.ravel()], axis=1), 1)
