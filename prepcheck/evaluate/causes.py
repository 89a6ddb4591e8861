"""What went wrong on a photo, by kind and by how much."""

from __future__ import annotations

import numpy as np

from prepcheck.evaluate.measures import UNTOLD, Numbers, Tally, bright_recall, oxide_recall, ratio
from prepcheck.evaluate.sparse import PitTally, PointTally
from prepcheck.terms import RESIDUE, State

Causes = tuple[tuple[str, float], ...]
LEAST = 0.01
"""Causes of a smaller share are not named."""

SHORT = {
    0: "not this work",
    State.BRIGHT: "bright metal",
    State.OXIDE: "oxide",
    State.PIT: "pit",
    State.COATING: "coating",
    State.FOREIGN: "foreign matter",
    UNTOLD: "cannot tell",
}
_MISTAKES = {
    State.BRIGHT: (0, *RESIDUE, UNTOLD),
    State.OXIDE: (0, State.BRIGHT, UNTOLD),
    State.PIT: (0, State.BRIGHT, UNTOLD),
    State.COATING: (State.BRIGHT,),
    State.FOREIGN: (0, State.BRIGHT, UNTOLD),
}
"""What counts as wrong, by true state: one residue called another does not, nor do coating and background by each other."""


def map_causes(t: Tally) -> Causes:
    """Return the kinds of mistake of one photo with their shares of the ground area, largest first."""
    ground = t.area[0] + t.area[1]
    spots = (("spot missed", t.area[1]), ("spot drawn too large", t.area[2]))
    return _largest([*_mistakes(t.confusion), *((what, float(ratio(px, ground))) for what, px in spots)])


def point_causes(t: PointTally) -> Causes:
    """Return the kinds of mistake with their shares of the scored points, largest first."""
    return _largest(_mistakes(np.concatenate([np.zeros((1, 7)), t.confusion[1:]])))


def pit_causes(t: PitTally) -> Causes:
    """Return the kinds of mistake on a photo of which only pits are labelled, as shares of the pit area or of the rest."""
    told = t.told / max(t.told.sum(), 1)
    pits = [(_said(State.PIT, k), float(told[k])) for k in (0, State.BRIGHT, State.OXIDE, State.FOREIGN, UNTOLD)]
    return _largest([*pits, ("rim of glare called residue", float(ratio(t.rim[1], t.rim[0])))])


def map_accuracy(t: Tally) -> float:
    """Return the mean recall of bright metal and oxide, of those kinds that the photo has; NaN when it has neither."""
    recalls = [float(recall) for recall in (bright_recall(t), oxide_recall(t)) if not np.isnan(recall)]
    return sum(recalls) / len(recalls) if recalls else float("nan")


def map_badness(t: Tally) -> float:
    """Return how bad a photo came out, 0..1: the mean of the share told wrong (by kind) and of the spot's misfit."""
    parts = (1 - map_accuracy(t), 1 - float(ratio(t.overlap, t.outlined)))
    known = [part for part in parts if not np.isnan(part)]
    return sum(known) / len(known) if known else 0.0


def point_badness(t: PointTally) -> float:
    """Return the share of the scored points that are told wrong, plus a quarter of those that are not told."""
    of, untold = t.confusion[1:].sum(), t.confusion[1:, UNTOLD].sum()
    wrong = sum(share for what, share in point_causes(t) if not what.endswith(SHORT[UNTOLD]))
    return float(wrong + 0.25 * ratio(untold, of)) if of else 0.0


def pit_badness(t: PitTally) -> float:
    """Return the mean of the share of pits missed and of the rim of glare called residue."""
    return float(np.nansum([ratio(t.pits - t.pits_found, t.pits), ratio(t.rim[1], t.rim[0])])) / 2


def _mistakes(by_state: Numbers) -> list[tuple[str, float]]:
    of = by_state.sum()
    return [
        (_said(truly, told), share)
        for truly, wrong in _MISTAKES.items()
        for told in wrong
        if (share := float(ratio(by_state[truly, told], of))) >= LEAST
    ]


def _said(truly: int, told: int) -> str:
    return f"{SHORT[truly]}: cannot tell" if told == UNTOLD else f"{SHORT[truly]} called {SHORT[told]}"


def _largest(found: list[tuple[str, float]]) -> Causes:
    return tuple(sorted(((w, s) for w, s in found if s >= LEAST), key=lambda one: -one[1]))
