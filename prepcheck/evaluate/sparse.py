"""The measures of sparse labels: points on photographs, and pits outlined on photographs of which nothing else is labelled."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

from prepcheck.evaluate.bootstrap import Counts, Measure
from prepcheck.evaluate.measures import UNTOLD, Codes, Mask, Numbers, confusion, covered, ratio
from prepcheck.terms import RESIDUE, State

_B = int(State.BRIGHT)
_OTHER = RESIDUE
_FOUND = (State.OXIDE, State.PIT, State.FOREIGN)
_PIT_FOUND = 0.25
_RIM = 0.015
"""Width of the rim of a lamp's reflection, as a share of the long side: what is nearly burnt out."""


@dataclass(frozen=True, eq=False)
class PointTally(Counts):
    """Scored points of photographs by label 0 to 5 and told state (last column: not told), shape (6, 7)."""

    confusion: Numbers = field(default_factory=lambda: np.zeros((6, 7)))


def point_tally(predicted: Codes, labels: Codes) -> PointTally:
    """Compare told states with labels at points, both shape (n,).

    Labels: 1 bright metal, 2 dull residue, 3 pit, 4 coating or unworked, 5 foreign; 0 is counted, not scored; others are
    left out.
    """
    kept = labels <= 5
    return PointTally(confusion(labels[kept], predicted[kept]))


def _bright_right(t: PointTally) -> Numbers:
    return np.asarray(ratio(t.confusion[..., _B, _B], t.confusion[..., _B, :UNTOLD].sum(-1)))


def _wrongly_bright(t: PointTally) -> Numbers:
    other = t.confusion[..., _OTHER, :UNTOLD]
    return np.asarray(ratio(other[..., _B].sum(-1), other.sum((-1, -2))))


def _residue_found(t: PointTally) -> Numbers:
    residue = t.confusion[..., _FOUND, :UNTOLD]
    return np.asarray(ratio(residue[..., RESIDUE].sum((-1, -2)), residue.sum((-1, -2))))


def _point_coverage(t: PointTally) -> Numbers:
    scored = t.confusion[..., 1:, :]
    return np.asarray(ratio(scored[..., :UNTOLD].sum((-1, -2)), scored.sum((-1, -2))))


POINT_MEASURES: dict[str, Measure] = {
    "coverage": _point_coverage,
    "bright called bright": _bright_right,
    "wrongly bright": _wrongly_bright,
    "residue found": _residue_found,
    "balanced accuracy of points": lambda t: (_bright_right(t) + 1 - _wrongly_bright(t)) / 2,
}


@dataclass(frozen=True, eq=False)
class PitTally(Counts):
    """Counts of photographs on which only pits are outlined.

    Parameters
    ----------
    pits, pits_found, pits_as_residue : float
        Outlined pits; those of which a quarter is mapped as pit, and as any residue.
    told : ndarray, shape (7,)
        Pixels inside pits by told state (last: not told).
    burnt, rim, rest : ndarray, shape (2,)
        Pixels outside pits, and those of them mapped as residue: burnt out by a lamp's reflection; around such places; all.
    photos : float
        How many photographs.
    """

    pits: float = 0
    pits_found: float = 0
    pits_as_residue: float = 0
    told: Numbers = field(default_factory=lambda: np.zeros(7))
    burnt: Numbers = field(default_factory=lambda: np.zeros(2))
    rim: Numbers = field(default_factory=lambda: np.zeros(2))
    rest: Numbers = field(default_factory=lambda: np.zeros(2))
    photos: float = 0


def pit_tally(predicted: Codes, pits: Mask, burnt: Mask) -> PitTally:
    """Compare told states with outlined pits and burnt-out pixels, all shape (h, w)."""
    residue = np.isin(predicted, RESIDUE)
    as_pit, as_residue = (covered(pits, found, 1) >= _PIT_FOUND for found in (predicted == State.PIT, residue))
    burnt_out, rim, rest = (
        np.array([np.count_nonzero(where & ~pits), np.count_nonzero(where & ~pits & residue)], np.float64)
        for where in (burnt, _rim(burnt), np.ones_like(pits))
    )
    told = np.bincount(np.minimum(predicted[pits].astype(np.int64), UNTOLD), minlength=7).astype(np.float64)
    return PitTally(len(as_pit), int(as_pit.sum()), int(as_residue.sum()), told, burnt_out, rim, rest, 1)


def _rim(burnt: Mask) -> Mask:
    reach = max(1, round(_RIM * max(burnt.shape)))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    return np.asarray(cv2.dilate(burnt.astype(np.uint8), kernel).astype(bool) & ~burnt)


PIT_MEASURES: dict[str, Measure] = {
    "pits found": lambda t: ratio(t.pits_found, t.pits),
    "pits mapped as any residue": lambda t: ratio(t.pits_as_residue, t.pits),
    "pit area told": lambda t: ratio(t.told[..., :UNTOLD].sum(-1), t.told.sum(-1)),
    "pit area called bright": lambda t: ratio(t.told[..., _B], t.told.sum(-1)),
    "burnt out, mapped as residue": lambda t: ratio(t.burnt[..., 1], t.burnt[..., 0]),
    "rim of glare, mapped as residue": lambda t: ratio(t.rim[..., 1], t.rim[..., 0]),
    "all else, mapped as residue": lambda t: ratio(t.rest[..., 1], t.rest[..., 0]),
}
