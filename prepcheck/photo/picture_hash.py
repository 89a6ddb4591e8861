"""A short hash that stays nearly the same when a picture is saved again, made smaller or brighter."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_SIDE = 32


def picture_hash(rgb: NDArray[np.uint8]) -> str:
    """Return the signs of the 64 lowest frequencies of a picture, against their median.

    Parameters
    ----------
    rgb : ndarray, shape (h, w, 3), uint8
        Upright sRGB raster.

    Returns
    -------
    str
        16 hexadecimal digits. A picture without any structure gives one and the same hash.
    """
    step = max(1, max(rgb.shape) // 640)
    small = np.ascontiguousarray(rgb[::step, ::step])
    grey = cv2.cvtColor(cv2.resize(small, (_SIDE, _SIDE), interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY)
    waves = cv2.dct(grey.astype(np.float32))[1:9, 1:9].round(3)
    return np.packbits(waves > np.median(waves)).tobytes().hex()


def hash_distance(a: str, b: str) -> int:
    """Number of the 64 bits in which two picture hashes differ.

    Raises
    ------
    ValueError
        One of them is no hexadecimal number.
    """
    return (int(a, 16) ^ int(b, 16)).bit_count()
