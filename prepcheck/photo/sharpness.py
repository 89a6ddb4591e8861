"""How blurred a picture is, in pixels, whatever its contrast.

An edge blurred by ``s`` px has, seen at two scales ``a`` < ``b``, gradients in the ratio sqrt((s2 + b2) / (s2 + a2)), squares
meant: contrast cancels out (S. Zhuo and T. Sim, Defocus map estimation from a single image, Pattern Recognition 44, 2011).
The sharpest tenth of the clear edges decides: soft shading beside them is no blur. Where nothing stands out of the noise there
is nothing to judge by, as on an evenly painted wall.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_FINE, _COARSE = 1.0, 2.0
_CLEAR = 8.0
_LEAST_EDGES = 200


def blur_px(luma: NDArray[np.float32], mask: NDArray[np.bool_] | None = None) -> float | None:
    """Estimate the blur of the sharpest clear edges.

    Parameters
    ----------
    luma : ndarray, shape (h, w), float32
        Grey picture, 0..255.
    mask : ndarray, shape (h, w), bool, optional
        Where to look.

    Returns
    -------
    float or None
        Standard deviation of the blur in pixels, 0 for the sharpest; None when too few edges are clear.
    """
    if min(luma.shape) < 16:
        return None
    fine, coarse = _gradient(luma, _FINE), _gradient(luma, _COARSE)
    clear = fine > max(_CLEAR * _noise(luma) / (_FINE**2 * np.sqrt(8 * np.pi)), 1.0)
    if mask is not None:
        clear &= mask
    if np.count_nonzero(clear) < _LEAST_EDGES:
        return None
    ratio = float(np.percentile(fine[clear] / np.maximum(coarse[clear], 1e-3), 90))
    square = ratio * ratio
    if square <= 1.0:
        return float("inf")
    return float(np.sqrt(max(0.0, (_COARSE**2 - square * _FINE**2) / (square - 1))))


def _gradient(luma: NDArray[np.float32], scale: float) -> NDArray[np.float32]:
    smooth = cv2.GaussianBlur(luma, (0, 0), scale)
    return np.asarray(
        cv2.magnitude(
            cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8), cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
        )
    )


def _noise(luma: NDArray[np.float32]) -> float:
    """Standard deviation of noise: median of the finest diagonal differences (Donoho and Johnstone 1994)."""
    even = luma[: luma.shape[0] // 2 * 2, : luma.shape[1] // 2 * 2]
    diagonal = (even[::2, ::2] - even[1::2, ::2] - even[::2, 1::2] + even[1::2, 1::2]) / 2
    return float(np.median(np.abs(diagonal)) / 0.6745)
