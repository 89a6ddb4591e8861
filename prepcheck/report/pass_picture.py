"""One pass of a spot, as its history shows it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from prepcheck.record import Interval
from prepcheck.terms import Standing

Raster = NDArray[np.uint8]
Matrix = NDArray[np.float64]
Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PassPicture:
    """What one pass showed.

    Parameters
    ----------
    pass_no : int
        Number of the pass.
    rgb : ndarray, shape (h, w, 3), uint8
        Its photo at any reduction.
    states : ndarray, shape (h2, w2), uint8, or None
        Codes of `prepcheck.terms.State` for the whole photo at any reduction.
    size : (int, int)
        Full width and height of the photo.
    to_latest : ndarray, shape (3, 3), or None
        Homography from its full-size pixels to those of the latest pass; None when not aligned: then it is shown in its
        own frame, and the caption says so.
    outline : ndarray, shape (n, 2)
        Outline of the spot in its own full-size pixels.
    standing, bright_share, interval
        What was told of the spot.
    when : str
        Date as it shall be read; may be empty.
    """

    pass_no: int
    rgb: Raster = field(repr=False)
    states: Raster | None = field(repr=False)
    size: tuple[int, int]
    to_latest: Matrix | None = field(repr=False)
    outline: Points = field(repr=False)
    standing: Standing
    bright_share: float | None
    interval: Interval | None
    when: str = ""
