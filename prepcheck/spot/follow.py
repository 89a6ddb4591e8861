"""A spot followed from grinding pass to pass: what changed, and what stays.

Frames: a homography here takes full-size pixels of an earlier photo to full-size pixels of the latest one. All masks lie
in the frame of the latest pass's surface map.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import Plane
from prepcheck.photo.align import SIDE, Alignment
from prepcheck.settings import FollowSettings, Settings
from prepcheck.spot.same_spot import AskPerson, same_spot
from prepcheck.spot.spot import Spot
from prepcheck.surface import SurfaceMap, showing
from prepcheck.terms import RESIDUE, State

__all__ = [
    "AskPerson", "Change", "EarlierPass", "PersistingPatch", "compare", "persisting_patches", "same_spot",
]  # fmt: skip

Mask = NDArray[np.bool_]
Box = tuple[slice, slice]
_ON_METAL = (State.OXIDE, State.PIT, State.FOREIGN)
_IN_METAL = (State.OXIDE, State.PIT)
_UNWORKED = (State.BACKGROUND, State.COATING)
"""Coating was never ground through; away from spots these two are equally right."""


@dataclass(frozen=True, eq=False)
class EarlierPass:
    """An earlier pass: its number, what its photo shows, and how that lies on the latest photo."""

    pass_no: int
    surface: SurfaceMap = field(repr=False)
    alignment: Alignment = field(repr=False)


@dataclass(frozen=True, eq=False)
class PersistingPatch:
    """Residue seen in the same place in two or more passes. Says nothing about depth.

    Parameters
    ----------
    inside : ndarray, shape (h, w), bool
        Its pixels in the latest surface map, cut out.
    corner : (int, int)
        Column and row in that map of the first pixel of `inside`.
    outline : ndarray, shape (n, 2), float64
        Its outer outline as (x, y) in full-size pixels of the latest photo.
    at : tuple of float
        A place inside it, (x, y) in full-size pixels of the latest photo.
    area_px, area_mm2 : float, float or None
        Area in full-size pixels and on the surface; None without a scale.
    since : int
        Number of the first pass from which it was seen without a pass that showed other there.
    passes : int
        In how many passes it was seen, the latest one included.
    probability : float
        Of oxide or a pit at its surest place: the lower of the latest pass and the last one before in which it was seen.
    """

    inside: Mask = field(repr=False)
    corner: tuple[int, int]
    outline: NDArray[np.float64] = field(repr=False)
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
        Area of each mask by its name, with a scale.
    """

    newly_bright: Mask = field(repr=False)
    still_residue: Mask = field(repr=False)
    newly_exposed: Mask = field(repr=False)
    still_bright: Mask = field(repr=False)
    not_comparable: Mask = field(repr=False)
    persisting: tuple[PersistingPatch, ...]
    areas_mm2: dict[str, float] | None


def compare(
    earlier: SurfaceMap,
    later: SurfaceMap,
    alignment: Alignment,
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
    alignment : Alignment
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
    passes = _all_laid_over([*older, EarlierPass(pass_no, earlier, alignment)], later, settings.follow)
    masks = _changes(passes[-1], later, spot.mask)
    return Change(
        **masks,
        persisting=_persisting(passes, later, spot, areas, settings.follow),
        areas_mm2=None if areas is None else {name: float(areas[mask].sum()) for name, mask in masks.items()},
    )


def persisting_patches(
    history: Sequence[EarlierPass], latest: SurfaceMap, spot: Spot, settings: Settings, *, plane: Plane | None = None
) -> tuple[PersistingPatch, ...]:
    """Find residue on a spot that was there in earlier passes too, largest first.

    A place stays when oxide or a pit is likely there (``settings.follow.stay_probability``) in the latest pass and in an
    earlier one, with no pass in between that shows other there; a pass that cannot tell is passed over. Of connected places a
    patch is made, and told if it has a sure heart: one place whose probability is at least ``settings.follow.sure_probability``
    in both passes. The lower of the two counts, since residue that stays has to be there in each: what is bright in one pass
    does not stay however sure the other is, and passes before only make a patch older, never less sure. Coating that stays
    was not ground, and foreign matter lies on top: neither counts.

    Parameters
    ----------
    history : sequence of EarlierPass
        Earlier passes, oldest first, each aligned to the latest photo.
    latest, spot, settings, plane
        As in `compare`.
    """
    areas = None if plane is None else _pixel_areas(latest, plane)
    return _persisting(_all_laid_over(history, latest, settings.follow), latest, spot, areas, settings.follow)


def _persisting(
    passes: Sequence[_Before], latest: SurfaceMap, spot: Spot, areas: NDArray[np.float64] | None, rule: FollowSettings
) -> tuple[PersistingPatch, ...]:
    chance = np.where(spot.mask, _in_metal(latest), np.float32(0))
    since, seen, lowest = _walk_back(chance, passes, rule)
    larger = [_patch_sizes(one >= rule.stay_probability) for one in (chance, *(one.chance for one in passes))]
    patches = [
        _persisting_patch(inside, box, since, seen, lowest, latest, areas)
        for inside, box in _large_places(seen > 1, latest, areas, rule)
        if _overlaps(inside, [sizes[box] for sizes in larger], rule)
    ]
    told = (patch for patch in patches if patch.probability >= rule.sure_probability)
    return tuple(sorted(told, key=lambda patch: patch.area_px, reverse=True))


def _in_metal(surface: SurfaceMap) -> NDArray[np.float32]:
    """Return the probability of oxide or a pit, shape (h, w), of whatever kind a pixel is told; 0 where burnt out."""
    if surface.chances is None:
        chance = np.where(showing(surface.states, _IN_METAL), surface.residue, np.float32(0))
    else:
        fit = surface.model.shop_fit
        chance = (surface.chances if fit is None else fit.applied(surface.chances))[list(_IN_METAL)].sum(axis=0)
    return np.asarray(np.where(surface.burnt, np.float32(0), chance), np.float32)


@dataclass(frozen=True, eq=False)
class _Before:
    """An earlier pass in the frame of the latest map, cannot tell outside its photo; `reach` is the tolerance in px, and
    `chance` the probability of oxide or a pit, carried as far as that."""

    pass_no: int
    states: NDArray[np.uint8]
    chance: NDArray[np.float32]
    reach: int


def _all_laid_over(history: Sequence[EarlierPass], latest: SurfaceMap, rule: FollowSettings) -> list[_Before]:
    return [_laid_over(one, latest, rule) for one in history]


def _laid_over(one: EarlierPass, latest: SurfaceMap, rule: FollowSettings) -> _Before:
    height, width = latest.states.shape
    earlier, alignment = one.surface, one.alignment
    matrix = latest.from_map(earlier, alignment.matrix)

    def laid(plane: NDArray[np.uint8] | NDArray[np.float32], how: int) -> NDArray[np.float32]:
        return np.asarray(cv2.warpPerspective(plane, matrix, (width, height), flags=how), np.float32)

    inside = laid(np.ones(earlier.states.shape, np.uint8), cv2.INTER_NEAREST) > 0
    tolerance = max(rule.tolerance_px, alignment.error_px) * max(height, width) / SIDE
    reach = max(1, int(np.ceil(tolerance)))
    return _Before(
        pass_no=one.pass_no,
        states=np.where(inside, laid(earlier.states, cv2.INTER_NEAREST), State.CANNOT_TELL).astype(np.uint8),
        chance=np.asarray(cv2.dilate(laid(_in_metal(earlier), cv2.INTER_LINEAR), _disc(reach)), np.float32),
        reach=reach,
    )


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


def _walk_back(
    chance: NDArray[np.float32], passes: Sequence[_Before], rule: FollowSettings
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.float32]]:
    """Return since which pass each likely pixel was so, in how many passes, and the lower chance of the latest two of them."""
    still = chance >= rule.stay_probability
    since, seen, lowest = np.zeros(chance.shape, np.int32), still.astype(np.int32), chance.copy()
    for one in reversed(passes):
        there = still & (one.chance >= rule.stay_probability)
        first = there & (seen == 1)
        lowest[first] = np.minimum(lowest, one.chance)[first]
        since[there] = one.pass_no
        seen[there] += 1
        still &= there | (one.states == State.CANNOT_TELL)
    return since, seen, lowest


def _large_places(
    mask: Mask, latest: SurfaceMap, areas: NDArray[np.float64] | None, rule: FollowSettings
) -> Iterator[tuple[Mask, Box]]:
    """Give the connected places of `mask` that are large enough to be patches, cut out, with the box they lie in."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    if areas is None:
        total = np.bincount(labels.ravel()) / (max(latest.states.shape) / SIDE) ** 2
    else:
        total = np.bincount(labels.ravel(), weights=areas.ravel())
    large = total >= (rule.least_patch_px if areas is None else rule.least_patch_mm2)
    for label in np.flatnonzero(large[1:]) + 1:
        x, y, width, height = (int(v) for v in stats[label, :4])
        box = np.s_[y : y + height, x : x + width]
        yield labels[box] == label, box


def _patch_sizes(patches: Mask) -> NDArray[np.int64]:
    """Return for each pixel the size of the patch it lies in, in pixels; 0 outside."""
    labels = cv2.connectedComponents(patches.astype(np.uint8), connectivity=8)[1]
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    return np.asarray(sizes[labels], np.int64)


def _overlaps(inside: Mask, larger: Sequence[NDArray[np.int64]], rule: FollowSettings) -> bool:
    """Say whether a place is enough of the patches that it lies in, now and in earlier passes: of the smallest of them."""
    sizes = np.array([one[inside].max() for one in larger])
    return bool(np.count_nonzero(inside) >= rule.stay_overlap * sizes[sizes > 0].min())


def _persisting_patch(
    inside: Mask,
    box: Box,
    since: NDArray[np.int32],
    seen: NDArray[np.int32],
    lowest: NDArray[np.float32],
    latest: SurfaceMap,
    areas: NDArray[np.float64] | None,
) -> PersistingPatch:
    padded = np.pad(inside, 1).astype(np.uint8)
    corner = (box[1].start, box[0].start)
    contours, _ = cv2.findContours(padded, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    deepest = cv2.minMaxLoc(cv2.distanceTransform(padded, cv2.DIST_L2, 3))[3]
    places = np.vstack([np.array([deepest]), contours[0][:, 0]]).astype(np.float64)
    (x, y), *outline = latest.to_full(places + corner - 1)
    return PersistingPatch(
        inside=inside,
        corner=corner,
        outline=np.array(outline),
        at=(float(x), float(y)),
        area_px=float(np.count_nonzero(inside) * np.prod(latest.reduction)),
        area_mm2=None if areas is None else float(areas[box][inside].sum()),
        since=int(np.median(since[box][inside])),
        passes=int(np.median(seen[box][inside])),
        probability=float(lowest[box][inside].max()),
    )


def _pixel_areas(surface: SurfaceMap, plane: Plane) -> NDArray[np.float64]:
    """Return the area on the plane of each map pixel in mm2, shape (h, w)."""
    rows, columns = np.mgrid[: surface.states.shape[0], : surface.states.shape[1]].astype(np.float64)
    points = surface.to_full(np.column_stack([columns.ravel(), rows.ravel()]))
    return np.asarray((plane.areas(points) * np.prod(surface.reduction)).reshape(rows.shape), np.float64)
