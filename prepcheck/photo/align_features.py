"""Points that look alike in two pictures, and the homography that most of them bear out."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Plain = NDArray[np.float32]

_MOST = 2500
_SIDE = 800
_LEAST = 8
_CLEARER = 0.85
"""A match has to be this much closer than the next best one (after Lowe 2004, a little more lenient)."""


def matched(one: Plain, two: Plain) -> tuple[NDArray[np.float64] | None, int]:
    """Match two pictures by their points.

    Parameters
    ----------
    one, two : ndarray, shape (h, w), float32
        Evened-out contrast, about -3 to 3.

    Returns
    -------
    matrix : ndarray, shape (3, 3), float64, or None
        Homography from pixels of `one` to those of `two`; None when too few points match.
    count : int
        Points that bear it out.
    """
    scale = min(1.0, _SIDE / max(*one.shape, *two.shape))
    (points, looks), (others, other_looks) = (_points(plain, scale) for plain in (one, two))
    if min(len(points), len(others)) < _LEAST:
        return None, 0
    pairs = _pairs(looks, other_looks)
    if len(pairs) < _LEAST:
        return None, 0
    source, target = points[[a for a, _ in pairs]], others[[b for _, b in pairs]]
    found, kept = cv2.findHomography(source, target, cv2.USAC_MAGSAC, 3.0 / scale, maxIters=4000, confidence=0.999)
    return (None, 0) if found is None else (np.asarray(found, np.float64), int(np.asarray(kept).sum()))


def _pairs(looks: Plain, others: Plain) -> list[tuple[int, int]]:
    """Pairs that choose each other, and clearly."""
    match = cv2.BFMatcher(cv2.NORM_L2)
    back = {m.queryIdx: m.trainIdx for m in match.match(others, looks)}
    return [
        (best.queryIdx, best.trainIdx)
        for best, second in match.knnMatch(looks, others, k=2)
        if back[best.trainIdx] == best.queryIdx and best.distance < _CLEARER * second.distance
    ]


def _points(contrast: Plain, scale: float) -> tuple[Plain, Plain]:
    """Distinct points in pixels of `contrast`, and how each looks.

    Looks are compared by square roots of shares (Arandjelovic and Zisserman 2012).
    """
    smaller = cv2.resize(contrast, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    grey = np.clip(smaller * 42 + 128, 0, 255).astype(np.uint8)
    found, looks = cv2.SIFT.create(_MOST, contrastThreshold=0.02, edgeThreshold=15).detectAndCompute(grey, None)
    points = np.array([point.pt for point in found], np.float32).reshape(-1, 2)
    shares = np.zeros((0, 128), np.float32) if looks is None else np.asarray(looks, np.float32)
    shares = shares / np.maximum(shares.sum(axis=1, keepdims=True), np.float32(1e-6))
    return np.asarray((points + 0.5) / scale - 0.5, np.float32), np.sqrt(shares)
