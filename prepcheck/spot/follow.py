"""A spot followed from grinding pass to pass: found again, compared, and what stays.

Frames: a homography here takes full-size pixels of an earlier photo to full-size pixels of the latest one. All masks lie
in the frame of the latest pass's surface map.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import Plane
from prepcheck.settings import FollowSettings, Settings
from prepcheck.spot.spot import Spot
from prepcheck.surface import SurfaceMap
from prepcheck.terms import RESIDUE, State

Mask = NDArray[np.bool_]
Matrix = NDArray[np.float64]
_ERROR_AT = 1280
"""Long side, in pixels, at which the error of an alignment and tolerances are given."""
_ON_METAL = (State.OXIDE, State.PIT, State.FOREIGN)
_IN_METAL = (State.OXIDE, State.PIT)
_UNWORKED = (State.BACKGROUND, State.COATING)
"""Coating was never ground through; away from spots these two are equally right."""


class Aligned(Protocol):
    """How an earlier photo lies on the latest: homography, shape (3, 3), and its error in px at a long side of 1280."""

    @property
    def matrix(self) -> Matrix: ...  # noqa: D102

    @property
    def error_px(self) -> float: ...  # noqa: D102


@dataclass(frozen=True, eq=False)
class EarlierPass:
    """An earlier pass: its number, what its photo shows, and how that lies on the latest photo."""

    pass_no: int
    surface: SurfaceMap = field(repr=False)
    alignment: Aligned = field(repr=False)


@dataclass(frozen=True, eq=False)
class PersistingPatch:
    """Residue seen in the same place in two or more passes. Says nothing about depth.

    Parameters
    ----------
    mask : ndarray, shape (h, w), bool
        Where it lies in the latest surface map.
    at : tuple of float
        A place inside it, (x, y) in full-size pixels of the latest photo.
    area_px, area_mm2 : float, float or None
        Area in full-size pixels and on the surface; None without a scale.
    since : int
        Number of the first pass from which it was seen without a pass that showed other there.
    passes : int
        In how many passes it was seen, the latest one included.
    probability : float
        Mean over its pixels of the lowest probability of residue in the passes in which it was seen.
    """

    mask: Mask = field(repr=False)
    at: tuple[float, float]
    area_px: float
    area_mm2: float | None
    since: int
    passes: int
    probability: float


@dataclass(frozen=True, eq=False)
class Change:
    """What changed on a spot from one pass to the next; the five masks, shape (h, w), share the spot among them.

    Parameters
    ----------
    newly_bright : ndarray of bool
        Bright now, residue or not yet worked before.
    still_residue : ndarray of bool
        Residue now and before, unchanged within the tolerance.
    newly_exposed : ndarray of bool
        Residue or pit now where the earlier pass told bright metal, coating or an unworked surface.
    still_bright : ndarray of bool
        Bright now and before, within the tolerance.
    not_comparable : ndarray of bool
        Cannot be told in one of them, or lies outside the earlier photo.
    persisting : tuple of PersistingPatch
        Patches that stay over two or more passes, largest first.
    areas_mm2 : dict of str to float or None
        Area of each mask by its name; None without a scale.
    """

    newly_bright: Mask = field(repr=False)
    still_residue: Mask = field(repr=False)
    newly_exposed: Mask = field(repr=False)
    still_bright: Mask = field(repr=False)
    not_comparable: Mask = field(repr=False)
    persisting: tuple[PersistingPatch, ...]
    areas_mm2: dict[str, float] | None


@dataclass(frozen=True)
class AskPerson:
    """Which spot it is cannot be told, and why; a person has to say."""

    reason: str


def by_cards(earlier: Plane, latest: Plane) -> Matrix:
    """Return the homography between two photos whose card was not moved on the part in between.

    Whether it was moved cannot be seen from the card alone: `same_spot` asks when the outlines then do not overlap.
    """
    return np.asarray(np.linalg.solve(latest.to_mm, earlier.to_mm), np.float64)


def same_spot(
    outline: NDArray[np.float64],
    spots: Sequence[Spot],
    surface: SurfaceMap,
    matrices: Sequence[Matrix],
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
    matrices : sequence of ndarray, shape (3, 3)
        Ways from the earlier photo to the new one that are known (by features, by cards); none when not aligned.
        All of them must lead to the same spot.
    settings
        How much outlines must overlap: enough, and clearly more than with the next spot.
    """
    if not spots:
        return AskPerson("the new photo shows no ground spot")
    if not matrices:
        return AskPerson("the new photo could not be laid over the earlier one")
    found = [_by_overlap(outline, spots, surface, matrix, settings.follow) for matrix in matrices]
    if reasons := [one for one in found if isinstance(one, AskPerson)]:
        return reasons[0]
    numbers = {one.number for one in found if isinstance(one, Spot)}
    if len(numbers) > 1:
        return AskPerson("the scale card and the surroundings point to different spots: was the card moved?")
    return found[0]


def compare(
    earlier: SurfaceMap,
    later: SurfaceMap,
    alignment: Aligned,
    spot: Spot,
    settings: Settings,
    *,
    plane: Plane | None = None,
    pass_no: int = 1,
    older: Sequence[EarlierPass] = (),
) -> Change:
    """Compare a spot with how it looked one pass before, and find what stayed over the passes.

    A place changed only where the two passes differ by more than the tolerance: residue counts as gone (or come) where
    no residue lies within the tolerance of it in the other pass. The tolerance is ``settings.follow.tolerance_px`` or the
    alignment's own error, the larger, at a long side of 1280 pixels.

    Parameters
    ----------
    earlier, later : SurfaceMap
        Of the two passes.
    alignment : Aligned
        From the earlier photo to the later one.
    spot : Spot
        The spot in the later photo.
    plane : Plane, optional
        Plane of the later photo, for areas in mm2.
    pass_no : int
        Number of the earlier pass.
    older : sequence of EarlierPass
        Passes before the earlier one, oldest first, each aligned to the later photo.
    """
    areas = None if plane is None else _pixel_areas(later, plane)
    masks = _changes(_laid_over(earlier, later, alignment, settings.follow), later, spot.mask)
    history = [*older, EarlierPass(pass_no, earlier, alignment)]
    return Change(
        **masks,
        persisting=persisting_patches(history, later, spot, settings, plane=plane),
        areas_mm2=None if areas is None else {name: float(areas[mask].sum()) for name, mask in masks.items()},
    )


def persisting_patches(
    history: Sequence[EarlierPass], latest: SurfaceMap, spot: Spot, settings: Settings, *, plane: Plane | None = None
) -> tuple[PersistingPatch, ...]:
    """Find residue on a spot that was there in earlier passes too, largest first.

    It has to be sure (``settings.follow.sure_probability``) in the latest pass and in an earlier one, with no pass in
    between that shows other there; a pass that cannot tell is passed over. Coating that stays was not ground, and foreign
    matter lies on top: neither counts.

    Parameters
    ----------
    history : sequence of EarlierPass
        Earlier passes, oldest first, each aligned to the latest photo.
    latest, spot, settings, plane
        As in `compare`.
    """
    rule = settings.follow
    now = spot.mask & _sure(latest.states, latest.residue, rule)
    passes = [_laid_over(one.surface, latest, one.alignment, rule) for one in history]
    since, seen, lowest = _walk_back(now, passes, [one.pass_no for one in history], rule)
    lowest = np.minimum(lowest, latest.residue)
    areas = None if plane is None else _pixel_areas(latest, plane)
    patches = [
        _persisting_patch(place, since, seen, lowest, latest, areas)
        for place in _places(seen > 1)
        if _large(place, latest, areas, rule) and _overlaps(place, now, passes, rule)
    ]
    return tuple(sorted(patches, key=lambda patch: patch.area_px, reverse=True))


@dataclass(frozen=True, eq=False)
class _Before:
    """An earlier pass in the frame of the latest map, cannot tell outside its photo; `reach` is the tolerance in px."""

    states: NDArray[np.uint8]
    residue: NDArray[np.float32]
    reach: int


def _laid_over(earlier: SurfaceMap, latest: SurfaceMap, alignment: Aligned, rule: FollowSettings) -> _Before:
    height, width = latest.states.shape
    matrix = np.linalg.inv(_to_full(latest)) @ alignment.matrix @ _to_full(earlier)

    def laid(plane: NDArray[np.uint8] | NDArray[np.float32], how: int) -> NDArray[np.float32]:
        return np.asarray(cv2.warpPerspective(plane, matrix, (width, height), flags=how), np.float32)

    inside = laid(np.ones(earlier.states.shape, np.uint8), cv2.INTER_NEAREST) > 0
    tolerance = max(rule.tolerance_px, alignment.error_px) * max(height, width) / _ERROR_AT
    return _Before(
        states=np.where(inside, laid(earlier.states, cv2.INTER_NEAREST), State.CANNOT_TELL).astype(np.uint8),
        residue=laid(earlier.residue, cv2.INTER_LINEAR),
        reach=max(1, int(np.ceil(tolerance))),
    )


def _to_full(surface: SurfaceMap) -> Matrix:
    """Homography from map pixels to full-size pixels: `SurfaceMap.to_full` as a matrix."""
    (x, y) = surface.reduction
    return np.array([[x, 0, (x - 1) / 2], [0, y, (y - 1) / 2], [0, 0, 1.0]])


def _changes(before: _Before, later: SurfaceMap, spot: Mask) -> dict[str, Mask]:
    """Share the spot among the five masks of `Change`."""
    now, then, reach = later.states, before.states, before.reach
    left_now, left_then = (np.isin(states, (*RESIDUE, *_UNWORKED)) for states in (now, then))
    told = spot & np.isin(now, (State.BRIGHT, *RESIDUE)) & (then != State.CANNOT_TELL)
    bright = told & (now == State.BRIGHT)
    gone = bright & left_then
    newly_bright = gone & _near(gone & ~_near(left_now, reach), reach)
    came = told & np.isin(now, _ON_METAL) & ~np.isin(then, _ON_METAL)
    newly_exposed = came & _near(came & ~_near(np.isin(then, _ON_METAL), reach), reach)
    return {
        "newly_bright": newly_bright,
        "still_residue": told & ~bright & ~newly_exposed,
        "newly_exposed": newly_exposed,
        "still_bright": bright & ~newly_bright,
        "not_comparable": spot & ~told,
    }


def _near(mask: Mask, reach: int) -> Mask:
    """Grow a mask by `reach` pixels."""
    return np.asarray(cv2.dilate(mask.astype(np.uint8), _disc(reach)) > 0)


def _disc(reach: int) -> NDArray[np.uint8]:
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1)), np.uint8)


def _sure(states: NDArray[np.uint8], residue: NDArray[np.float32], rule: FollowSettings) -> Mask:
    return np.asarray(np.isin(states, _IN_METAL) & (residue >= rule.sure_probability))


def _sure_before(one: _Before, rule: FollowSettings) -> NDArray[np.float32]:
    """Probability of residue where it was sure, carried as far as the tolerance; 0 elsewhere."""
    sure = np.where(_sure(one.states, one.residue, rule), one.residue, np.float32(0))
    return np.asarray(cv2.dilate(sure, _disc(one.reach)), np.float32)


def _walk_back(
    now: Mask, passes: Sequence[_Before], numbers: Sequence[int], rule: FollowSettings
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.float32]]:
    """Return since which pass each pixel of `now` was residue, in how many passes, and its lowest probability in them."""
    since, seen = np.zeros(now.shape, np.int32), now.astype(np.int32)
    lowest, still = np.ones(now.shape, np.float32), now.copy()
    for one, number in zip(reversed(passes), reversed(numbers), strict=True):
        before = _sure_before(one, rule)
        there = still & (before > 0)
        since[there] = number
        seen[there] += 1
        lowest[there] = np.minimum(lowest, before)[there]
        still &= there | (one.states == State.CANNOT_TELL)
    return since, seen, lowest


def _places(mask: Mask) -> list[Mask]:
    count, labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    return [labels == label for label in range(1, count)]


def _large(place: Mask, latest: SurfaceMap, areas: NDArray[np.float64] | None, rule: FollowSettings) -> bool:
    if areas is not None:
        return bool(areas[place].sum() >= rule.least_patch_mm2)
    return bool(np.count_nonzero(place) >= rule.least_patch_px * (max(latest.states.shape) / _ERROR_AT) ** 2)


def _overlaps(place: Mask, now: Mask, passes: Sequence[_Before], rule: FollowSettings) -> bool:
    """Say whether `place` is enough of the patch of now and of some earlier pass, the smaller of the two."""
    then = max(_patch_around(place, _sure_before(one, rule) > 0) for one in passes)
    return bool(np.count_nonzero(place) >= rule.stay_overlap * min(_patch_around(place, now), then))


def _patch_around(place: Mask, patches: Mask) -> int:
    """Return how many pixels the patches that `place` touches have."""
    labels = cv2.connectedComponents(patches.astype(np.uint8), connectivity=8)[1]
    touched = np.setdiff1d(labels[place], [0])
    return int(np.isin(labels, touched).sum()) if len(touched) else 0


def _persisting_patch(
    place: Mask,
    since: NDArray[np.int32],
    seen: NDArray[np.int32],
    lowest: NDArray[np.float32],
    latest: SurfaceMap,
    areas: NDArray[np.float64] | None,
) -> PersistingPatch:
    depth = cv2.distanceTransform(np.pad(place, 1).astype(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]
    y, x = divmod(int(depth.argmax()), depth.shape[1])
    at = latest.to_full(np.array([[x, y]], np.float64))[0]
    return PersistingPatch(
        mask=place,
        at=(float(at[0]), float(at[1])),
        area_px=float(np.count_nonzero(place) * np.prod(latest.reduction)),
        area_mm2=None if areas is None else float(areas[place].sum()),
        since=int(np.median(since[place])),
        passes=int(np.median(seen[place])),
        probability=float(lowest[place].mean()),
    )


def _pixel_areas(surface: SurfaceMap, plane: Plane) -> NDArray[np.float64]:
    """Return the area on the plane of each map pixel in mm2, shape (h, w): abs(det H) / abs(w)**3 a full-size pixel."""
    rows, columns = np.mgrid[: surface.states.shape[0], : surface.states.shape[1]].astype(np.float64)
    points = surface.to_full(np.column_stack([columns.ravel(), rows.ravel()]))
    third = points @ plane.to_mm[2, :2] + plane.to_mm[2, 2]
    areas = abs(np.linalg.det(plane.to_mm)) / np.abs(third) ** 3 * np.prod(surface.reduction)
    return np.asarray(areas.reshape(rows.shape), np.float64)


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
