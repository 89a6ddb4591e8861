"""Two photos of one view: where the pixels of the other lie in the first, how well that is known, or why it is not.

Features matched on pictures whose light was evened out start a homography; climbing on the strength of their edges (which
stays where it is while highlights wander) refines it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo.photo import Photo
from prepcheck.settings import AlignSettings, Settings

Points = NDArray[np.float64]
Matrix = NDArray[np.float64]
Plane = NDArray[np.float32]

LONG_SIDE = 1280
"""Long side, in pixels, at which photos are compared and errors are given."""

_FEATURES = 3000
_RATIO = 0.85
_NEAR_PX = 3.0
_HALVES = 8
_STEPS = 20


@dataclass(frozen=True, eq=False)
class Alignment:
    """Where another photo lies in the first.

    Parameters
    ----------
    matrix : ndarray, shape (3, 3), float64
        Homography from full-size pixels of the other photo to full-size pixels of the first.
    error_px : float
        Estimated error, in pixels at a long side of 1280.
    matches : int
        Places that agree with it.
    by : str
        ``features``.
    """

    matrix: Matrix = field(repr=False)
    error_px: float
    matches: int
    by: str = "features"


@dataclass(frozen=True)
class NotAligned:
    """The photos do not lie on each other, and why."""

    reason: str


def align(first: Photo, other: Photo, settings: Settings) -> Alignment | NotAligned:
    """Find where `other` lies in `first`.

    Parameters
    ----------
    first, other : Photo
        Upright photos of about the same view: a plane part, the camera moved a little or turned, any light.
    settings : Settings
        What counts as lying on each other.

    Returns
    -------
    Alignment or NotAligned
    """
    rule = settings.align
    here, there = _Prepared.of(first), _Prepared.of(other)
    goals, starts = _matched(here.even, there.even)
    if len(starts) < rule.least_matches:
        return NotAligned(f"too few places look the same in both ({len(starts)}, at least {rule.least_matches} needed)")
    matrix, good = _homography(starts, goals)
    if matrix is None or good.sum() < rule.least_matches or good.mean() < rule.least_share:
        return NotAligned(f"the places that look the same do not fit one view ({int(good.sum())} of {len(starts)})")
    if reason := _strange(matrix, there.size, here.size, rule):
        return NotAligned(reason)
    error = _error(starts[good], goals[good], matrix)
    if error > rule.most_error_px:
        return NotAligned(f"it fits to {error:.1f} pixels only, limit {rule.most_error_px:g}")
    matrix = _climbed(here.even, there.even, matrix)
    return Alignment(np.linalg.inv(here.scale) @ matrix @ there.scale, error, int(good.sum()))


@dataclass(frozen=True, eq=False)
class _Prepared:
    """A photo made ready: evened-out grey picture, its size, and the matrix from full-size pixels to it."""

    even: NDArray[np.uint8]
    size: tuple[int, int]
    scale: Matrix

    @classmethod
    def of(cls, photo: Photo) -> _Prepared:
        factor = min(1.0, LONG_SIDE / max(photo.rgb.shape[:2]))
        rgb = (
            cv2.resize(photo.rgb, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA) if factor < 1 else photo.rgb
        )
        height, width = rgb.shape[:2]
        across, down = width / photo.width, height / photo.height
        scale = np.array([[across, 0, (across - 1) / 2], [0, down, (down - 1) / 2], [0, 0, 1]])
        return cls(even_light(np.asarray(rgb, np.uint8)), (width, height), scale)


def even_light(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Take out what light does over more than about 20 pixels: log luminance against its surroundings; uint8, (h, w)."""
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    tone = cv2.GaussianBlur(np.log(grey + 8), (0, 0), 1.0)
    detail = tone - cv2.GaussianBlur(tone, (0, 0), 10)
    contrast = np.sqrt(cv2.GaussianBlur(detail * detail, (0, 0), 20)) + 0.03
    return np.asarray(np.clip(detail / contrast * 42 + 128, 0, 255), np.uint8)


def _matched(first: NDArray[np.uint8], other: NDArray[np.uint8]) -> tuple[Points, Points]:
    """Places in `first` and in `other`, each float64 of shape (n, 2), that look most alike both ways."""
    finder = cv2.SIFT_create(_FEATURES, contrastThreshold=0.02, edgeThreshold=15)
    (here, mine), (there, theirs) = finder.detectAndCompute(first, None), finder.detectAndCompute(other, None)
    if mine is None or theirs is None or min(len(mine), len(theirs)) < 2:
        return np.zeros((0, 2)), np.zeros((0, 2))
    mine, theirs = _rooted(mine), _rooted(theirs)
    matcher = cv2.BFMatcher(cv2.NORM_L2)
    back = {match.queryIdx: match.trainIdx for match in matcher.match(theirs, mine)}
    pairs = [
        (here[best.queryIdx].pt, there[best.trainIdx].pt)
        for best, second in matcher.knnMatch(mine, theirs, k=2)
        if best.distance < _RATIO * second.distance and back[best.trainIdx] == best.queryIdx
    ]
    both = np.asarray(pairs, np.float64).reshape(-1, 2, 2)
    return both[:, 0], both[:, 1]


def _rooted(descriptors: NDArray[np.float32]) -> NDArray[np.float32]:
    """Compare descriptors by Hellinger distance (Arandjelovic and Zisserman 2012)."""
    total = np.maximum(descriptors.sum(axis=1, keepdims=True), 1e-9)
    return np.asarray(np.sqrt(descriptors / total), np.float32)


def _homography(starts: Points, goals: Points) -> tuple[Matrix | None, NDArray[np.bool_]]:
    found, good = cv2.findHomography(starts, goals, cv2.USAC_MAGSAC, _NEAR_PX, maxIters=5000, confidence=0.9999)
    if found is None:
        return None, np.zeros(len(starts), bool)
    return np.asarray(found, np.float64), np.asarray(good.ravel() > 0)


def _strange(matrix: Matrix, size: tuple[int, int], onto: tuple[int, int], rule: AlignSettings) -> str:
    """Say why no hand-held camera makes this change of view; empty when one could."""
    (width, height), area = size, float(onto[0] * onto[1])
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)
    depth = corners @ matrix[2, :2] + matrix[2, 2]
    if not np.isfinite(matrix).all() or depth.min() * depth.max() <= 0:
        return "the change of view is too strong"
    turned = _moved(matrix, corners).astype(np.float32)
    around = float(cv2.contourArea(turned, oriented=True))
    if around <= 0:
        return "it is mirrored"
    if not cv2.isContourConvex(turned):
        return "the change of view is too strong"
    if not 1 / rule.most_scale**2 <= around / area <= rule.most_scale**2:
        return f"it shows the part {(around / area) ** -0.5:.1f} times as large, limit {rule.most_scale:g}"
    frame = np.array([[0, 0], [onto[0], 0], [onto[0], onto[1]], [0, onto[1]]], np.float32)
    if cv2.intersectConvexConvex(frame, turned)[0] < rule.least_overlap * area:
        return "it shows mostly another place"
    return ""


def _moved(matrix: Matrix, points: Points) -> Points:
    return np.asarray(cv2.perspectiveTransform(points[:, None], matrix), np.float64)[:, 0]


def _error(starts: Points, goals: Points, matrix: Matrix) -> float:
    """Estimate the error, in pixels: what the matches leave open and by how much they miss, medians, in quadrature.

    What is open is how far homographies by random halves lie apart: halves have twice the variance of the whole, and
    two of them differ by twice theirs. The miss takes in that the part is not quite plane.
    """
    rng = np.random.default_rng(0)
    apart = []
    for _ in range(_HALVES):
        halves = np.array_split(rng.permutation(len(starts)), 2)
        found = [cv2.findHomography(starts[half], goals[half], 0)[0] for half in halves]
        if any(one is None for one in found):
            return float("inf")
        one, two = (_moved(np.asarray(half, np.float64), starts) for half in found)
        apart.append(float(np.median(np.linalg.norm(one - two, axis=1))))
    missed = float(np.median(np.linalg.norm(_moved(matrix, starts) - goals, axis=1)))
    return float(np.hypot(np.median(apart) / 2, missed))


def _climbed(first: NDArray[np.uint8], other: NDArray[np.uint8], start: Matrix) -> Matrix:
    """Refine a homography from `other` to `first` by the correlation of edge strength at half size (ECC)."""
    half = np.array([[0.5, 0, -0.25], [0, 0.5, -0.25], [0, 0, 1.0]])
    way = (half @ np.linalg.inv(start) @ np.linalg.inv(half)).astype(np.float32)
    end = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, _STEPS, 1e-5)
    try:
        _, way = cv2.findTransformECC(_edges(first), _edges(other), way, cv2.MOTION_HOMOGRAPHY, end)
    except cv2.error:
        return start  # it does not converge: too little that correlates
    climbed = np.linalg.inv(np.linalg.inv(half) @ way.astype(np.float64) @ half)
    height, width = first.shape
    corners: Points = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)
    far = np.linalg.norm(_moved(climbed, _moved(np.asarray(np.linalg.inv(start)), corners)) - corners, axis=1).max()
    return np.asarray(climbed, np.float64) if far < 5 * _NEAR_PX else start


def _edges(even: NDArray[np.uint8]) -> Plane:
    """Strength of edges at half size against their surroundings; float32, (h / 2, w / 2)."""
    small = cv2.resize(even, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA).astype(np.float32)
    soft = cv2.GaussianBlur(small, (0, 0), 1.2)
    strength = cv2.magnitude(cv2.Sobel(soft, cv2.CV_32F, 1, 0), cv2.Sobel(soft, cv2.CV_32F, 0, 1))
    return np.asarray(strength / (cv2.GaussianBlur(strength, (0, 0), 20) + 2), np.float32)
