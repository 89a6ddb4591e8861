"""Points that look alike in two pictures, and the homography that most of them bear out."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

Plain = NDArray[np.float32]
Indices = NDArray[np.intp]

_MOST = 2500
_SIDE = 800
_LEAST = 8
_CLEARER = 0.85
"""A match has to be this much closer than the next best one (after Lowe 2004, a little more lenient)."""


@dataclass(frozen=True, eq=False)
class Points:
    """Distinct points of a picture.

    Parameters
    ----------
    at : ndarray, shape (n, 2), float32
        Where they lie, (x, y) in pixels of the picture.
    looks : ndarray, shape (n, 128), float32
        How they look: vectors of length one.
    grain : float
        Pixels of the picture to one of the smaller picture in which they were found.
    """

    at: Plain = field(repr=False)
    looks: Plain = field(repr=False)
    grain: float


def points(contrast: Plain) -> Points:
    """Find the distinct points of a picture, shape (h, w), float32, of evened-out contrast, about -3 to 3.

    Looks are compared by square roots of shares (Arandjelovic and Zisserman 2012).
    """
    scale = min(1.0, _SIDE / max(contrast.shape))
    smaller = cv2.resize(contrast, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    grey = np.clip(smaller * 42 + 128, 0, 255).astype(np.uint8)
    found, looks = cv2.SIFT.create(_MOST, contrastThreshold=0.02, edgeThreshold=15).detectAndCompute(grey, None)
    at = np.array([point.pt for point in found], np.float32).reshape(-1, 2)
    shares = np.zeros((0, 128), np.float32) if looks is None else np.asarray(looks, np.float32)
    shares = shares / np.maximum(shares.sum(axis=1, keepdims=True), np.float32(1e-6))
    return Points(np.asarray((at + 0.5) / scale - 0.5, np.float32), np.sqrt(shares), 1 / scale)


def matched(one: Points, two: Points) -> tuple[NDArray[np.float64] | None, int]:
    """Match two pictures by their points.

    Returns
    -------
    matrix : ndarray, shape (3, 3), float64, or None
        Homography from pixels of `one` to those of `two`; None when too few points match.
    count : int
        Points that bear it out.
    """
    if min(len(one.at), len(two.at)) < _LEAST:
        return None, 0
    mine, theirs = _pairs(one.looks, two.looks)
    if len(mine) < _LEAST:
        return None, 0
    found, kept = cv2.findHomography(
        one.at[mine], two.at[theirs], cv2.USAC_MAGSAC, 3.0 * two.grain, maxIters=4000, confidence=0.999
    )
    return (None, 0) if found is None else (np.asarray(found, np.float64), int(np.asarray(kept).sum()))


def _pairs(looks: Plain, others: Plain) -> tuple[Indices, Indices]:
    """Return the numbers of those that choose each other, and clearly.

    Of vectors of length one, half the squared distance is 1 less their product.
    """
    like = looks @ others.T
    mine, best = np.arange(len(looks)), like.argmax(axis=1)
    mutual = like.argmax(axis=0)[best] == mine
    apart = 1 - like[mine, best]
    like[mine, best] = -1
    kept = mutual & (apart < _CLEARER**2 * (1 - like.max(axis=1)))
    return mine[kept], best[kept]
