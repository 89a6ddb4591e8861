"""The measures of maps: one definition each, used by evaluation and model card alike.

Each photo gives a `Tally` of counts; figures are made from sums of tallies. Burnt-out pixels are left out of everything.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.evaluate.bootstrap import Counts, Measure
from prepcheck.evaluate.edges import EDGES
from prepcheck.terms import RESIDUE, State

Codes = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Numbers = NDArray[np.float64]

BINS = 15
"""Of the calibration error."""

FINE = 10 * BINS
"""Bins in which the said probabilities are counted."""

UNTOLD = 6
"""Column of what cannot be told in a confusion; the columns and rows before it are states 0 to 5."""

LEAST_PATCH_MM2 = 3.0
PATCH_OVERLAP = {"found": 0.25, "false": 0.5}
_B, _O = int(State.BRIGHT), int(State.OXIDE)
_KINDS = (State.BRIGHT, State.OXIDE)


@dataclass(frozen=True, eq=False)
class Tally(Counts):
    """Counts of one photo, or of several added up.

    Parameters
    ----------
    confusion : ndarray, shape (6, 7)
        Pixels of the ground area by true state and told state (last column: not told).
    chance : ndarray, shape (3, 150)
        The same pixels by what they truly are (bright metal, oxide, anything else) and the said residue probability.
    said : ndarray, shape (150,)
        Sum of the said residue probabilities.
    patches, patches_found, patches_false, scaled : float
        True oxide patches of at least 3 mm2, those found, mapped ones that lie on bright metal, photos with a scale.
    area : ndarray, shape (3,)
        Pixels inside spots and ground area, in the ground area only, in spots only.
    overlap, outlined : float
        Sum of the overlaps over unions of spots and ground area, photos that have either.
    share_error, held, width, shares : float
        Sums of the error of the bright share, of intervals that hold the truth, of their widths; photos with a true share.
    photos : float
        How many photos.
    edge : ndarray, shape (2, 6, 2)
        Pixels by distance from the edge between bright metal and residue, see :func:`prepcheck.evaluate.edges.by_distance`;
        of the tool's own maps alone.
    """

    confusion: Numbers = field(default_factory=lambda: np.zeros((6, 7)))
    chance: Numbers = field(default_factory=lambda: np.zeros((3, FINE)))
    said: Numbers = field(default_factory=lambda: np.zeros(FINE))
    patches: float = 0
    patches_found: float = 0
    patches_false: float = 0
    scaled: float = 0
    area: Numbers = field(default_factory=lambda: np.zeros(3))
    overlap: float = 0
    outlined: float = 0
    share_error: float = 0
    held: float = 0
    width: float = 0
    shares: float = 0
    photos: float = 0
    edge: Numbers = field(default_factory=lambda: np.zeros((2, len(EDGES) + 1, 2)))


def ratio(part: Any, whole: Any) -> Any:
    """Divide; NaN where `whole` is 0."""
    part, whole = np.asarray(part, float), np.asarray(whole, float)
    return np.divide(part, whole, out=np.full(np.broadcast(part, whole).shape, np.nan), where=whole != 0)


def bright_recall(t: Tally) -> Any:
    """Share of the told true bright metal that is told bright."""
    return ratio(t.confusion[..., _B, _B], t.confusion[..., _B, :UNTOLD].sum(-1))


def oxide_recall(t: Tally) -> Any:
    """Share of the told true oxide that is told any residue."""
    return ratio(t.confusion[..., _O, RESIDUE].sum(-1), t.confusion[..., _O, :UNTOLD].sum(-1))


def balanced_accuracy(t: Tally) -> Any:
    """Mean of the recall on true bright metal (told bright) and true oxide (told as any residue), over told pixels."""
    return (bright_recall(t) + oxide_recall(t)) / 2


def coverage(t: Tally) -> Any:
    """Share of the true bright and oxide pixels that were told."""
    both = t.confusion[..., _KINDS, :]
    return ratio(both[..., :UNTOLD].sum((-1, -2)), both.sum((-1, -2)))


def false_area(t: Tally) -> Any:
    """Share of the true bright metal that is mapped as residue."""
    return ratio(t.confusion[..., _B, RESIDUE].sum(-1), t.confusion[..., _B, :].sum(-1))


def calibration_error(t: Tally) -> Any:
    """Expected calibration error of the residue probability, 15 equal bins, over ground pixels."""
    of, residue, said = reliability(t)
    return ratio(np.abs(said - residue).sum(-1), of.sum(-1))


def reliability(t: Tally) -> tuple[Numbers, Numbers, Numbers]:
    """Return, for 15 bins of the said residue probability: pixels, those not bright in truth, sum of what was said."""
    of = t.chance.sum(-2)
    coarse = [part.reshape(*part.shape[:-1], BINS, -1).sum(-1) for part in (of, of - t.chance[..., 0, :], t.said)]
    return coarse[0], coarse[1], coarse[2]


MEASURES: dict[str, Measure] = {
    "balanced accuracy": balanced_accuracy,
    "coverage": coverage,
    "bright recall": bright_recall,
    "oxide recall": oxide_recall,
    "patch recall": lambda t: ratio(t.patches_found, t.patches),
    "false patches a photo": lambda t: ratio(t.patches_false, t.scaled),
    "false area": false_area,
    "spot IoU": lambda t: ratio(t.overlap, t.outlined),
    "bright-share error": lambda t: ratio(t.share_error, t.shares),
    "interval holds the truth": lambda t: ratio(t.held, t.shares),
    "interval width": lambda t: ratio(t.width, t.shares),
    "calibration error": calibration_error,
}


def risk_coverage(t: Tally) -> tuple[Numbers, Numbers]:
    """Return coverage and risk (1 - balanced accuracy) as ever less sure pixels are told; each shape (75,).

    A pixel is told bright where the said residue probability is below one half, residue otherwise; how sure is the
    distance from one half. True bright and oxide pixels only.
    """
    low, high = t.chance[:2, : FINE // 2], t.chance[:2, : FINE // 2 - 1 : -1]  # surest first, both
    wrong, right = np.stack([high[0], low[1]]), np.stack([low[0], high[1]])
    told = np.cumsum(wrong + right, axis=1)
    missed = ratio(np.cumsum(wrong, axis=1), told)
    return np.asarray(ratio(told.sum(0), told[:, -1].sum())), np.asarray(missed.mean(0))


def confusion(truth: Codes, told: Codes) -> Numbers:
    """Count pixels by true state 0 to 5 and told state (last column: cannot tell), shape (6, 7)."""
    columns = np.minimum(told.astype(np.int64), UNTOLD)
    return np.bincount(7 * truth.astype(np.int64) + columns, minlength=42).reshape(6, 7).astype(np.float64)


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
    seen = labelled(truth, ground, burnt)
    by_state = confusion(truth[seen], predicted[seen])
    chance, said = _chances(residue[seen], truth[seen])
    counts = (0, 0, 0) if mm_per_px is None else _patches(np.isin(predicted, RESIDUE), truth, seen, mm_per_px)
    area = np.array([_count(part & ~burnt) for part in (spots & ground, ground & ~spots, spots & ~ground)], float)
    return Tally(
        by_state, chance, said, *counts, int(mm_per_px is not None),
        area, float(area[0] / area.sum()) if area.any() else 0.0, int(area.any()),
        *_share_sums(by_state, interval or (0.0, 1.0)), photos=1,
    )  # fmt: skip


def labelled(truth: Codes, ground: Mask, burnt: Mask) -> Mask:
    """Return the pixels that count: ground area without what is not labelled or burnt out."""
    return np.asarray(ground & ~burnt & (truth != State.CANNOT_TELL))


def true_share(by_state: Numbers) -> float:
    """Return the true bright share of a confusion; NaN when there is neither bright metal nor residue."""
    return float(ratio(by_state[_B].sum(), by_state[_B:].sum()))


def told_share(by_state: Numbers) -> float:
    """Return the told bright share of a confusion; NaN when neither bright metal nor residue is told."""
    return float(ratio(by_state[:, _B].sum(), by_state[:, _B:UNTOLD].sum()))


def _share_sums(by_state: Numbers, said: tuple[float, float]) -> tuple[float, float, float, float]:
    """Return the error of the bright share, whether the interval holds the truth, its width, and 1; zeros without truth.

    Where nothing is told, the error is the largest that it could be.
    """
    truly, told = true_share(by_state), told_share(by_state)
    if np.isnan(truly):
        return 0.0, 0.0, 0.0, 0.0
    error = max(truly, 1 - truly) if np.isnan(told) else abs(told - truly)
    return error, float(said[0] <= truly <= said[1]), said[1] - said[0], 1.0


def _chances(said: NDArray[np.float32], truth: Codes) -> tuple[Numbers, Numbers]:
    index = np.minimum((said * FINE).astype(np.int64), FINE - 1)
    kind = np.select([truth == _B, truth == _O], [0, 1], 2)
    chance = np.bincount(kind * FINE + index, minlength=3 * FINE).reshape(3, FINE)
    return chance.astype(np.float64), np.bincount(index, weights=said, minlength=FINE).astype(np.float64)


def _patches(called: Mask, truth: Codes, seen: Mask, mm_per_px: float) -> tuple[int, int, int]:
    """Count true oxide patches, those found, and mapped patches less than half of which lies on true residue."""
    least = LEAST_PATCH_MM2 / mm_per_px**2
    true_hit = covered(seen & (truth == State.OXIDE), called, least)
    mapped_hit = covered(seen & called, np.isin(truth, RESIDUE), least)
    found = _count(true_hit >= PATCH_OVERLAP["found"])
    return len(true_hit), found, _count(mapped_hit < PATCH_OVERLAP["false"])


def covered(patches: Mask, by: Mask, least: float) -> Numbers:
    """Return the share of each connected patch of at least `least` pixels that is covered by `by`."""
    count, labels = cv2.connectedComponents(patches.astype(np.uint8), connectivity=8)
    area = np.bincount(labels.ravel(), minlength=count)[1:]
    hit = np.bincount(labels.ravel(), weights=by.ravel(), minlength=count)[1:]
    large = area >= least
    return np.asarray(hit[large] / area[large], np.float64)


def _count(mask: Mask) -> int:
    return int(np.count_nonzero(mask))
