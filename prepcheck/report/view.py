"""Where the photo lies in a picture, and the two inks that are drawn with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from prepcheck.report.lettering import Colour

Points = NDArray[np.float64]
INK: Colour = (22, 28, 38)
SIGNAL: Colour = (196, 62, 12)
_FAR = 16_000


@dataclass(frozen=True)
class View:
    """Where the photo lies on its mat.

    Parameters
    ----------
    left, top : int
        Position of the photo's first pixel on the mat.
    width, height : int
        Drawn size of the photo in pixels.
    scale : tuple of float
        Drawn pixels per full-size pixel, along x and y.
    unit : float
        Drawn pixels per pixel of a phone's screen 390 px wide: all strokes and letters are multiples of it.
    """

    left: int
    top: int
    width: int
    height: int
    scale: tuple[float, float]
    unit: float

    def place(self, points: list[tuple[float, float]]) -> Points:
        """Turn full-size positions into positions on the mat, shape (n, 2); far ones are moved nearer."""
        drawn = (np.asarray(points, np.float64).reshape(-1, 2) + 0.5) * self.scale - 0.5
        moved: Points = np.clip(drawn + np.array([self.left, self.top]), -_FAR, _FAR)
        return moved


def whole(points: Points) -> NDArray[np.int32]:
    """Round positions to pixels."""
    return np.asarray(np.rint(points), np.int32)
