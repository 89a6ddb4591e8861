"""What the simplest rule reaches: an anchor for the tool's figures, measured in the same run."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.terms import State


def otsu(values: NDArray[np.uint8]) -> int:
    """Return the threshold of N. Otsu (IEEE Trans. SMC 9, 1979): values above it are the brighter class."""
    threshold, _ = cv2.threshold(values.reshape(-1, 1), 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return int(threshold)


def lightness(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return CIE L* of an sRGB picture, shape (h, w, 3), as 255 / 100 of it, shape (h, w)."""
    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)[:, :, 0], np.uint8)


def by_brightness(rgb: NDArray[np.uint8], ground: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Call the brighter pixels of the given ground area bright metal and the darker ones oxide.

    Parameters
    ----------
    rgb : ndarray, shape (h, w, 3), uint8
        Photo.
    ground : ndarray, shape (h, w), bool
        True ground area: a hint that the tool itself does not get. At least one pixel.

    Returns
    -------
    ndarray, shape (h, w), uint8
        State codes; background outside.
    """
    light = lightness(rgb)
    told = np.where(light > otsu(light[ground]), np.uint8(State.BRIGHT), np.uint8(State.OXIDE))
    return np.where(ground, told, np.uint8(State.BACKGROUND))
