"""Points that look alike in two pictures, and the homography that most of them bear out.

Grinding leaves few points as they were, often one match in fifty. So each match votes by how its two points are turned and
sized to each other, which alone tells where the others should lie (after Lowe 2004, section 7.3).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

Plain = NDArray[np.float32]
Mask = NDArray[np.bool_]
Turns = NDArray[np.complex64]
Indices = NDArray[np.intp]

_MOST = 2500
_SIDE = 800
_LEAST = 4
_MOST_MATCHES = 1000
_NEAR_PX = 15.0
_PLAY = 0.15
"""How far off a match may lie, as a share of its distance from the one that votes: points tell turn and size roughly."""
_ALIKE = 0.45
"""Most difference between two matches in turn (radians) and in size (natural logarithm), together."""
_BENT = 12
"""Votes from which perspective is told, too."""


@dataclass(frozen=True, eq=False)
class Points:
    """Distinct points of a picture.

    Parameters
    ----------
    at : ndarray, shape (n, 2), float32
        Where they lie, (x, y) in pixels of the picture.
    turned : ndarray, shape (n,), complex64
        Size and direction of what is around them.
    looks : ndarray, shape (n, 128), float32
        How they look: vectors of length one.
    grain : float
        Pixels of the picture to one of the smaller picture in which they were found.
    """

    at: Plain = field(repr=False)
    turned: Turns = field(repr=False)
    looks: Plain = field(repr=False)
    grain: float


def points(contrast: Plain, seen: Mask) -> Points:
    """Find the distinct points of a picture.

    Looks are compared by square roots of shares (Arandjelovic and Zisserman 2012).

    Parameters
    ----------
    contrast : ndarray, shape (h, w), float32
        Evened out, about -3 to 3.
    seen : ndarray, shape (h, w), bool
        Where points count.
    """
    scale = min(1.0, _SIDE / max(contrast.shape))
    smaller = cv2.resize(contrast, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    grey = np.clip(smaller * 42 + 128, 0, 255).astype(np.uint8)
    where = cv2.resize(seen.astype(np.uint8), grey.shape[::-1], interpolation=cv2.INTER_NEAREST)
    found, looks = cv2.SIFT.create(_MOST, contrastThreshold=0.02, edgeThreshold=15).detectAndCompute(grey, where)
    at = np.array([point.pt for point in found], np.float32).reshape(-1, 2)
    turned = np.array([point.size * np.exp(1j * np.deg2rad(point.angle)) for point in found], np.complex64)
    shares = np.zeros((0, 128), np.float32) if looks is None else np.asarray(looks, np.float32)
    shares = shares / np.maximum(shares.sum(axis=1, keepdims=True), np.float32(1e-6))
    return Points(np.asarray((at + 0.5) / scale - 0.5, np.float32), turned / scale, np.sqrt(shares), 1 / scale)


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
    voters = _votes(one.at[mine], two.at[theirs], two.turned[theirs] / one.turned[mine])
    mine, theirs = mine[voters], theirs[voters]
    if len(mine) < _LEAST:
        return None, 0
    return _laid(one.at[mine], two.at[theirs], two.grain)


def _pairs(looks: Plain, others: Plain) -> tuple[Indices, Indices]:
    """Return the numbers of those that choose each other, the most alike of them.

    Of vectors of length one, half the squared distance is 1 less their product.
    """
    like = looks @ others.T
    mine, best = np.arange(len(looks)), like.argmax(axis=1)
    mine = mine[like.argmax(axis=0)[best] == mine]
    mine = mine[np.argsort(-like[mine, best[mine]], kind="stable")[:_MOST_MATCHES]]
    return mine, best[mine]


def _votes(at: Plain, there: Plain, turned: Turns) -> Mask:
    """Say of each match, shape (n,), whether it bears out the one that most others bear out."""
    start, end = (np.asarray(one[:, 0] + 1j * one[:, 1], np.complex64) for one in (at, there))
    apart = start - start[:, None]
    gap = np.abs(end - end[:, None] - turned[:, None] * apart)
    votes = (gap < _NEAR_PX + _PLAY * np.abs(apart)) & (np.abs(np.log(turned / turned[:, None])) < _ALIKE)
    return np.asarray(votes[votes.sum(axis=1).argmax()])


def _laid(at: Plain, there: Plain, grain: float) -> tuple[NDArray[np.float64] | None, int]:
    if len(at) >= _BENT:
        found, kept = cv2.findHomography(at, there, cv2.USAC_MAGSAC, 3.0 * grain, maxIters=4000, confidence=0.999)
    else:
        flat, kept = cv2.estimateAffine2D(at, there, ransacReprojThreshold=8.0 * grain)
        found = None if flat is None else np.vstack([flat, (0, 0, 1)])
    return (None, 0) if found is None else (np.asarray(found, np.float64), int(np.asarray(kept).sum()))
