"""How a person's marks came out over sessions: patches found, patches off, agreement by area; in plain words, no grades."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from prepcheck.agreement.kappa import BY_PHOTO, COHEN, SCALE, Kappa, by_photo, cohen, words
from prepcheck.agreement.proportion import SOURCE, Proportion, proportion
from prepcheck.tasks.practice import Session
from prepcheck.trade.entries import PracticeCompared

Against = Literal["tool", "truth"]
_WEIGHT = 1_000_000
"""Each photo's areas are counted as if it had so many pixels, so that each photo weighs the same."""
NOTES = (
    "Patches of one photo resemble each other, so these intervals are rather too narrow.",
    f"Shares: {SOURCE}. Agreement by area inside the ground area, where both are sure, each photo of the same weight: "
    f"{COHEN.partition(';')[0]}; its interval: {BY_PHOTO}; words of the scale of {SCALE}.",
)


@dataclass(frozen=True)
class Outcome:
    """How marks of one or more photos came out beside one kind of answer.

    Parameters
    ----------
    against : {"tool", "truth"}
        Beside whose answer.
    photos : int
        How many.
    found : Proportion
        Patches of the other side that were found.
    off : Proportion
        Marked patches less than half of which lies on residue of the other side.
    kappa : float or None
        Cohen's, by area.
    interval : tuple of float or None
        By photo; None with fewer than three.
    """

    against: Against
    photos: int
    found: Proportion
    off: Proportion
    kappa: float | None
    interval: tuple[float, float] | None


def outcome(compared: Sequence[PracticeCompared], against: Against) -> Outcome | None:
    """Add up how marks came out beside one kind of answer; None when none of them was compared with it."""
    mine = [one for one in compared if one.against == against]
    if not mine:
        return None
    tables = np.array([_table(one) for one in mine if _sure(one)]).reshape(-1, 2, 2)

    def kappa_of(kept: NDArray[np.bool_]) -> Kappa:
        return cohen(tables[kept].sum(axis=0))

    return Outcome(
        against,
        len(mine),
        proportion(sum(one.patches_found for one in mine), sum(one.patches for one in mine)),
        proportion(sum(one.marked_off for one in mine), sum(one.marked for one in mine)),
        kappa_of(np.ones(len(tables), bool)).value,
        by_photo(kappa_of, np.arange(len(tables))),
    )


def outcomes(session: Session) -> list[Outcome]:
    """Return how a session came out: beside the known truth first, then beside the tool."""
    told = list(session.compared.values())
    return [one for one in (outcome(told, "truth"), outcome(told, "tool")) if one is not None]


def outcome_words(one: Outcome) -> list[str]:
    """Say an outcome in plain words."""
    return list(_said(one))


def since_then(earlier: Outcome, later: Outcome) -> str:
    """Say whether more was found than before, or whether that can be chance."""
    before, now = earlier.found, later.found
    if before.share is None or now.share is None:
        return "Nothing to compare: there was no patch to find."
    if now.low > before.high:
        return "More patches were found than in the first session; the intervals lie apart."
    if now.high < before.low:
        return "Fewer patches were found than in the first session; the intervals lie apart."
    return "The intervals of the first and this session overlap: a difference can be chance, or other photos."


def _said(one: Outcome) -> Iterator[str]:
    who = "the known truth" if one.against == "truth" else "the tool"
    photos = f"{one.photos} photo{'s' * (one.photos != 1)}"
    yield f"Beside {who}, {photos}: {_found(one.found)}; {_off(one.off)}."
    yield f"Agreement by area: {_kappa(one)}."


def _found(one: Proportion) -> str:
    if not one.of:
        return "there was no patch to find"
    return f"found {one.hits} of {one.of} patches ({_range(one)})"


def _off(one: Proportion) -> str:
    if not one.of:
        return "nothing was marked"
    return f"{one.hits} of {one.of} marked patches ({_range(one)}) lay mostly off its residue"


def _range(one: Proportion) -> str:
    return f"{100 * one.low:.0f} to {100 * one.high:.0f} %"


def _kappa(one: Outcome) -> str:
    if one.kappa is None:
        return "no kappa, as all of it was given one answer"
    if one.interval is None:
        return f"kappa {one.kappa:.2f}; an interval needs three photos that differ"
    low, high = one.interval
    return f"kappa {one.kappa:.2f} ({low:.2f} to {high:.2f} by photo), {words(one.interval)}"


def _table(one: PracticeCompared) -> list[list[int]]:
    """Return the areas of a photo, each photo of the same weight: rows marked or not, columns residue or not."""
    cells = ((one.both, one.only_marked), (one.only_other, one.neither))
    return [[round(_WEIGHT * cell / _sure(one)) for cell in row] for row in cells]


def _sure(one: PracticeCompared) -> int:
    return one.both + one.only_marked + one.only_other + one.neither
