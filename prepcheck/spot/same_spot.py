"""Which spot of a new photo is the spot of an earlier grinding pass; a person is asked where that is not clear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.settings import FollowSettings, Settings
from prepcheck.spot.spot import Spot
from prepcheck.surface import SurfaceMap

Mask = NDArray[np.bool_]
Matrix = NDArray[np.float64]


@dataclass(frozen=True)
class AskPerson:
    """Which spot it is cannot be told, and why; a person has to say."""

    reason: str


def same_spot(
    outline: NDArray[np.float64],
    spots: Sequence[Spot],
    surface: SurfaceMap,
    matrix: Matrix | None,
    settings: Settings,
) -> Spot | AskPerson:
    """Find the spot of an earlier pass among those of a new photo.

    Parameters
    ----------
    outline : ndarray, shape (n, 2), float64
        Outline of the earlier spot, (x, y) in full-size pixels of the earlier photo.
    spots : sequence of Spot
        Those of the new photo.
    surface
        Map of the new photo.
    matrix : ndarray, shape (3, 3), or None
        Homography from the earlier photo to the new one; None when not aligned.
    settings
        How much outlines must overlap: enough, and clearly more than with the next spot.
    """
    if not spots:
        return AskPerson("the new photo shows no ground spot")
    if matrix is None:
        return AskPerson("the new photo could not be laid over the earlier one")
    return _by_overlap(outline, spots, surface, matrix, settings.follow)


def _by_overlap(
    outline: NDArray[np.float64], spots: Sequence[Spot], surface: SurfaceMap, matrix: Matrix, rule: FollowSettings
) -> Spot | AskPerson:
    """Find the spot whose mask shares most with the outline, by intersection over union within the new photo."""
    old = _filled(outline, surface, matrix)
    if not old.any():
        return AskPerson("the new photo does not show the place of the earlier spot")
    shares = [np.count_nonzero(old & spot.mask) / np.count_nonzero(old | spot.mask) for spot in spots]
    order = sorted(range(len(spots)), key=shares.__getitem__, reverse=True)
    best, next_best = shares[order[0]], shares[order[1]] if len(shares) > 1 else 0.0
    if best < rule.same_overlap:
        return AskPerson(f"no spot of the new photo shares {rule.same_overlap:.0%} with the earlier outline")
    if best < rule.same_lead * next_best:
        first, second = sorted(spots[k].number for k in order[:2])
        return AskPerson(f"spots {first} and {second} both lie where the earlier one was")
    return spots[order[0]]


def _filled(outline: NDArray[np.float64], surface: SurfaceMap, matrix: Matrix) -> Mask:
    mask = np.zeros(surface.states.shape, np.uint8)
    rows = np.column_stack([outline, np.ones(len(outline))]) @ matrix.T
    if len(outline) >= 3 and (rows[:, 2] * np.sign(rows[0, 2]) > 1e-9 * np.abs(rows[:, 2]).max()).all():
        placed = surface.from_full(rows[:, :2] / rows[:, 2:])
        cv2.fillPoly(mask, [np.round(np.clip(placed, -16_000, 16_000)).astype(np.int32)], 1)
    return mask.astype(bool)
