"""The measures: one definition each, used by evaluation, model card and training alike.

Each photo gives a `Tally` of counts; figures are made from sums of tallies, so that a bootstrap over photos (or over groups of
photos of one scene) only draws tallies again. Burnt-out pixels are left out of everything.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.terms import RESIDUE, State

T = TypeVar("T", "Tally", "PointTally")
Codes = NDArray[np.uint8]
Mask = NDArray[np.bool_]

BINS = 15
LEAST_PATCH_MM2 = 3.0
PATCH_OVERLAP = {"found": 0.25, "false": 0.5}


@dataclass(frozen=True)
class Tally:
    """Counts of one photo, or of several added up.

    Parameters
    ----------
    bright_told, bright_right : int
        True bright pixels of the ground area that were told, and told bright.
    oxide_told, oxide_right : int
        True oxide pixels told, and told as any residue.
    both : int
        True bright and oxide pixels, told or not.
    patches, patches_found, patches_false : int
        True residue patches of at least 3 mm2, those found, and mapped ones that lie on bright metal.
    bins, bins_residue, bins_said : ndarray, shape (15,)
        Pixels by said residue probability, true residue among them, and the sum of what was said.
    iou, share_error, held, width : tuple
        One entry a photo: overlap of spots and ground area over their union, error of the bright share, whether the
        interval holds the truth, its width.
    photos : int
        How many photos.
    """

    bright_told: int = 0
    bright_right: int = 0
    oxide_told: int = 0
    oxide_right: int = 0
    both: int = 0
    patches: int = 0
    patches_found: int = 0
    patches_false: int = 0
    bins: NDArray[np.float64] = field(default_factory=lambda: np.zeros(BINS))
    bins_residue: NDArray[np.float64] = field(default_factory=lambda: np.zeros(BINS))
    bins_said: NDArray[np.float64] = field(default_factory=lambda: np.zeros(BINS))
    iou: tuple[float, ...] = ()
    share_error: tuple[float, ...] = ()
    held: tuple[bool, ...] = ()
    width: tuple[float, ...] = ()
    photos: int = 0

    def __add__(self, other: Tally) -> Tally:
        return Tally(**{f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self)})


def balanced_accuracy(t: Tally) -> float:
    """Mean of the recall on true bright metal (told bright) and true oxide (told as any residue), over told pixels."""
    return (_ratio(t.bright_right, t.bright_told) + _ratio(t.oxide_right, t.oxide_told)) / 2


def coverage(t: Tally) -> float:
    """Share of the true bright and oxide pixels that were told."""
    return _ratio(t.bright_told + t.oxide_told, t.both)


def patch_recall(t: Tally) -> float:
    """Share of the true residue patches that were found."""
    return _ratio(t.patches_found, t.patches)


def false_patches(t: Tally) -> float:
    """False patches a photo."""
    return _ratio(t.patches_false, t.photos)


def false_area(t: Tally) -> float:
    """Share of the told true bright metal that is mapped as residue."""
    return 1 - _ratio(t.bright_right, t.bright_told)


def spot_iou(t: Tally) -> float:
    """Intersection over union of predicted spots and true ground area, the mean over photos."""
    return _mean(t.iou)


def share_error(t: Tally) -> float:
    """Mean over photos of abs(predicted - true) bright share over the true ground area."""
    return _mean(t.share_error)


def interval_holds(t: Tally) -> float:
    """Share of the photos whose 95 % interval holds the true bright share."""
    return _mean(t.held)


def interval_width(t: Tally) -> float:
    """Mean width of the intervals."""
    return _mean(t.width)


def calibration_error(t: Tally) -> float:
    """Expected calibration error of the residue probability, 15 equal bins, over ground pixels."""
    gap = np.abs(t.bins_said - t.bins_residue).sum()
    return _ratio(float(gap), float(t.bins.sum()))


MEASURES: dict[str, Callable[[Tally], float]] = {
    "balanced accuracy": balanced_accuracy,
    "coverage": coverage,
    "patch recall": patch_recall,
    "false patches a photo": false_patches,
    "false area": false_area,
    "spot IoU": spot_iou,
    "bright-share error": share_error,
    "interval holds the truth": interval_holds,
    "interval width": interval_width,
    "calibration error": calibration_error,
}


def tally(
    predicted: Codes,
    residue: NDArray[np.float32],
    spots: Mask,
    truth: Codes,
    ground: Mask,
    burnt: Mask,
    *,
    mm_per_px: float | None,
    interval: tuple[float, float] | None = None,
) -> Tally:
    """Compare one photo's maps with the truth; all arrays have the photo's shape (h, w).

    Parameters
    ----------
    predicted, truth : ndarray, uint8
        State codes; 255 in `truth` is not labelled.
    residue : ndarray, float32
        Said probability of not being bright metal, 0..1.
    spots, ground : ndarray, bool
        Union of predicted spots; true ground area.
    burnt : ndarray, bool
        Burnt-out pixels, left out.
    mm_per_px : float or None
        Scale for patches; without one no patches are counted.
    interval : tuple of float, optional
        Said interval of the bright share; None counts as (0, 1).
    """
    seen = ground & ~burnt & (truth != State.CANNOT_TELL)
    told = seen & (predicted != State.CANNOT_TELL)
    bright, oxide = truth == State.BRIGHT, truth == State.OXIDE
    called_residue = np.isin(predicted, RESIDUE)
    true_share = _share_of(truth, seen)
    said = interval or (0.0, 1.0)
    inside, either = spots & ground & ~burnt, (spots | ground) & ~burnt
    counts = (0, 0, 0) if mm_per_px is None else _patches(called_residue, truth, seen, mm_per_px)
    bins, right, sums = _bins(residue[seen], truth[seen] != State.BRIGHT)
    return Tally(
        bright_told=_count(told & bright),
        bright_right=_count(told & bright & (predicted == State.BRIGHT)),
        oxide_told=_count(told & oxide),
        oxide_right=_count(told & oxide & called_residue),
        both=_count(seen & (bright | oxide)),
        patches=counts[0],
        patches_found=counts[1],
        patches_false=counts[2],
        bins=bins,
        bins_residue=right,
        bins_said=sums,
        iou=(_ratio(_count(inside), _count(either)),) if either.any() else (),
        share_error=() if true_share is None else (abs((_share_of(predicted, told) or 0.0) - true_share),),
        held=() if true_share is None else (said[0] <= true_share <= said[1],),
        width=() if true_share is None else (said[1] - said[0],),
        photos=1,
    )


@dataclass(frozen=True)
class PointTally:
    """Counts over labelled points of photographs."""

    points: int = 0
    told: int = 0
    bright: int = 0
    bright_right: int = 0
    other: int = 0
    other_bright: int = 0
    residue: int = 0
    residue_found: int = 0

    def __add__(self, other: PointTally) -> PointTally:
        return PointTally(**{f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self)})


def point_tally(predicted: Codes, labels: Codes) -> PointTally:
    """Compare told states with labels at points, both shape (n,).

    Labels: 1 bright metal, 2 dull residue, 3 pit, 4 coating or unworked, 5 foreign; 0, 6 and 9 are not scored.
    """
    scored = (labels >= 1) & (labels <= 5)
    told = scored & (predicted != State.CANNOT_TELL)
    bright, other, residue = labels == 1, (labels >= 2) & (labels <= 5), np.isin(labels, (2, 3, 5))
    return PointTally(
        points=_count(scored),
        told=_count(told),
        bright=_count(told & bright),
        bright_right=_count(told & bright & (predicted == State.BRIGHT)),
        other=_count(told & other),
        other_bright=_count(told & other & (predicted == State.BRIGHT)),
        residue=_count(told & residue),
        residue_found=_count(told & residue & np.isin(predicted, RESIDUE)),
    )


POINT_MEASURES: dict[str, Callable[[PointTally], float]] = {
    "coverage": lambda t: _ratio(t.told, t.points),
    "bright called bright": lambda t: _ratio(t.bright_right, t.bright),
    "wrongly bright": lambda t: _ratio(t.other_bright, t.other),
    "residue found": lambda t: _ratio(t.residue_found, t.residue),
    "balanced accuracy of points": lambda t: (
        (_ratio(t.bright_right, t.bright) + 1 - _ratio(t.other_bright, t.other)) / 2
    ),
}


def total(tallies: Sequence[T]) -> T:
    """Add up tallies, of which there is at least one."""
    summed = tallies[0]
    for one in tallies[1:]:
        summed = summed + one
    return summed


def bootstrap(
    groups: Sequence[T], measure: Callable[[T], float], *, draws: int = 1000, seed: int = 7
) -> tuple[float, float]:
    """Return the 95 % interval of `measure` over resampled groups (a photo each, or the photos of one scene added up)."""
    rng = np.random.default_rng(seed)
    values = []
    for _ in range(draws):
        drawn = [groups[i] for i in rng.integers(0, len(groups), len(groups))]
        values.append(measure(total(drawn)))
    if np.isnan(values).all():
        return float("nan"), float("nan")
    low, high = np.nanquantile(values, (0.025, 0.975))
    return float(low), float(high)


def _count(mask: Mask) -> int:
    return int(np.count_nonzero(mask))


def _ratio(part: float, whole: float) -> float:
    return part / whole if whole else float("nan")


def _mean(values: Sequence[float]) -> float:
    return float(np.mean(values)) if values else float("nan")


def _share_of(codes: Codes, where: Mask) -> float | None:
    """Share of bright metal among the pixels `where` that are bright metal or residue."""
    readable = where & np.isin(codes, (State.BRIGHT, *RESIDUE))
    if not readable.any():
        return None
    return _ratio(_count(readable & (codes == State.BRIGHT)), _count(readable))


def _bins(said: NDArray[np.float32], residue: Mask) -> tuple[NDArray[np.float64], ...]:
    index = np.minimum((said * BINS).astype(int), BINS - 1)
    weights = (np.ones(len(said)), residue.astype(float), said.astype(float))
    return tuple(np.bincount(index, weights=w, minlength=BINS).astype(np.float64) for w in weights)


def _patches(called: Mask, truth: Codes, seen: Mask, mm_per_px: float) -> tuple[int, int, int]:
    """Count true oxide patches, those found, and mapped patches less than half of which lies on true residue."""
    least = LEAST_PATCH_MM2 / mm_per_px**2
    true_hit = _covered(seen & (truth == State.OXIDE), called, least)
    mapped_hit = _covered(seen & called, np.isin(truth, RESIDUE), least)
    found = _count(true_hit >= PATCH_OVERLAP["found"])
    return len(true_hit), found, _count(mapped_hit < PATCH_OVERLAP["false"])


def _covered(patches: Mask, by: Mask, least: float) -> NDArray[np.float64]:
    """Share of each connected patch of at least `least` pixels that is covered by `by`."""
    count, labels = cv2.connectedComponents(patches.astype(np.uint8), connectivity=8)
    area = np.bincount(labels.ravel(), minlength=count)[1:]
    hit = np.bincount(labels.ravel(), weights=by.ravel(), minlength=count)[1:]
    large = area >= least
    shares: NDArray[np.float64] = hit[large] / area[large]
    return shares
