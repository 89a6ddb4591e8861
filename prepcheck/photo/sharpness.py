"""How blurred a picture is, in pixels, whatever its contrast.

An edge blurred by s pixels has, smoothed by a and by b pixels more, gradients in the ratio
sqrt((s * s + b * b) / (s * s + a * a)): its contrast cancels out, and s follows (S. Zhuo and T. Sim, Defocus map
estimation from a single image, Pattern Recognition 44, 2011). Only the strongest edges are asked, and of these the
sharpest: soft shading beside them is no blur. Where nothing stands out of the noise, as on an evenly painted wall, there is
nothing to judge by, and nothing is said.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo.percentile import percentile

Plane = NDArray[np.float32]
Grey = NDArray[np.uint8 | np.float32]

_FINE, _COARSE = 1.0, 2.0
"""The two scales in pixels: below 1 noise and JPEG blocks decide, above 2 neighbouring scratches run together."""
_CLEAR = 8.0
"""Times the noise that a gradient must have."""
_STRONGEST = 95.0
"""Percentile of the gradients from which edges are asked."""
_SHARPEST = 85.0
"""Percentile of the ratios that decides."""
_LEAST_EDGES = 150
"""Pixels on edges below which nothing is said."""


def blur_px(luma: Grey, mask: NDArray[np.bool_] | None = None) -> float | None:
    """Estimate the blur of the sharpest edges, all directions together.

    Parameters
    ----------
    luma : ndarray, shape (h, w), uint8 or float32
        Grey picture, 0..255.
    mask : ndarray, shape (h, w), bool, optional
        Where to look.

    Returns
    -------
    float or None
        Standard deviation of the blur in pixels, 0 for the sharpest, at most 99; None when too few edges are clear.
    """
    ratio, _ = _edges(luma, mask)
    return _blur_of(ratio) if len(ratio) >= _LEAST_EDGES else None


def blur_px_worst_way(luma: Grey) -> float | None:
    """Estimate the blur of the sharpest edges in the direction in which it is worst.

    A shaken camera smears edges across its path and leaves those along it sharp. Directions with too few clear edges
    are left out: scratches all along one way are no shake.

    Parameters
    ----------
    luma : ndarray, shape (h, w), uint8 or float32
        Grey picture, 0..255.

    Returns
    -------
    float or None
        As `blur_px`.
    """
    ratio, angle = _edges(luma, None)
    eighth = np.rint(angle / np.pi * 8).astype(np.int8)
    ways = [ratio[(eighth + 1 - way) & 7 <= 2] for way in (0, 2, 4, 6)]
    blurs = [_blur_of(way) for way in ways if len(way) >= _LEAST_EDGES]
    return max(blurs, default=None)


def _edges(grey: Grey, mask: NDArray[np.bool_] | None) -> tuple[Plane, Plane]:
    """Ratios of fine to coarse gradients, and directions in radian, on the strongest edges."""
    nothing = np.empty(0, np.float32)
    if min(grey.shape) < 16:
        return nothing, nothing
    luma: Plane = np.asarray(grey, np.float32)
    smooth = _smoothed(luma, _FINE)
    across, down = (cv2.Sobel(smooth, cv2.CV_32F, *way, scale=1 / 8) for way in ((1, 0), (0, 1)))
    fine = np.asarray(cv2.magnitude(across, down), np.float32)
    fine[[0, -1]] = fine[:, [0, -1]] = 0
    least = max(_strong(fine, mask), 1.0, _CLEAR * _noise(luma) / (_FINE**2 * np.sqrt(8 * np.pi)))
    clear = fine > least
    at = np.flatnonzero(clear if mask is None else clear & mask)
    softer = _smoothed(smooth, float(np.sqrt(_COARSE**2 - _FINE**2)))
    ratio = np.take(fine, at) / np.maximum(np.hypot(*_slopes(softer, at)), 1e-3)
    return np.asarray(ratio, np.float32), np.arctan2(np.take(down, at), np.take(across, at))


def _smoothed(luma: Plane, sigma: float) -> Plane:
    return np.asarray(cv2.GaussianBlur(luma, (0, 0), sigma), np.float32)


def _slopes(luma: Plane, at: NDArray[np.intp]) -> tuple[Plane, Plane]:
    """Sobel slopes across and down at the flat positions `at`, none of them on the border."""
    row, flat = luma.shape[1], luma.ravel()
    nw, n, ne = (flat[at + step] for step in (-row - 1, -row, -row + 1))
    sw, s, se = (flat[at + step] for step in (row - 1, row, row + 1))
    across = (ne + 2 * flat[at + 1] + se - nw - 2 * flat[at - 1] - sw) / 8
    return across, (sw + 2 * s + se - nw - 2 * n - ne) / 8


def _strong(gradient: Plane, mask: NDArray[np.bool_] | None) -> float:
    """Gradient from which an edge is strong, from every third row and column."""
    some = gradient[::3, ::3]
    asked = some if mask is None else some[mask[::3, ::3]]
    return percentile(asked, _STRONGEST) if asked.size else 0.0


def _blur_of(ratio: Plane) -> float:
    square = percentile(ratio, _SHARPEST) ** 2
    if square <= 1.0004:
        return 99.0
    return float(min(99.0, np.sqrt(max(0.0, (_COARSE**2 - square * _FINE**2) / (square - 1)))))


def _noise(luma: Plane) -> float:
    """Standard deviation of the noise: median of finest diagonal differences (Donoho and Johnstone, Biometrika 81, 1994)."""
    blocks = luma[: luma.shape[0] // 2 * 2, : luma.shape[1] // 2 * 2]
    a, b, c, d = (blocks[y::4, x::4] for y in (0, 1) for x in (0, 1))
    rows, columns = (min(part.shape[axis] for part in (a, b, c, d)) for axis in (0, 1))
    a, b, c, d = (part[:rows, :columns] for part in (a, b, c, d))
    return percentile(np.abs(a - b - c + d), 50) / 2 / 0.6745
