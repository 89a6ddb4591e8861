"""Whether recent labels and disagreements still go with a shop's fit, or speak against it beyond chance.

Three checks, each by the chance of seeing as much if nothing had changed. Photos are the independent ones, not their points:

* lean: on photos that the fit has not seen, people find more, or less, bright metal than the fit says;
* worse: there the fit's log loss is higher than that of the model without it;
* disagreements: people disagree with the answers of the tool more often than before the fit.

The first two by turning signs around photo by photo (R. A. Fisher, The Design of Experiments, 1935, from memory), the third by
Fisher's exact test. Eight photos are the fewest with which turning signs can come below 1 % both ways: 2 of 256.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from prepcheck.evaluate.fit_shop import Labelled, losses
from prepcheck.evaluate.measures import Numbers
from prepcheck.surface import ShopFit
from prepcheck.terms import State

_ALL_TURNS = 12
"""Up to so many photos all turns of signs are tried; of more, some."""
_TURNS, _SEED = 9999, 7


@dataclass(frozen=True)
class Disagreed:
    """How often people disagreed with the tool: `hits` of `of` inspections since the fit, and before it."""

    hits: int
    of: int
    hits_before: int
    of_before: int


@dataclass(frozen=True)
class Check:
    """One check: what was seen, in words, and the chance of seeing as much when nothing changed; None where nothing was."""

    name: str
    seen: str
    chance: float | None

    def speaks_against(self, limit: float) -> bool:
        """Say whether it is beyond chance."""
        return self.chance is not None and self.chance < limit


def drift(photos: Sequence[Labelled], fit: ShopFit, disagreed: Disagreed) -> tuple[Check, ...]:
    """Hold a fit against labels that it has not seen, and against what people said of answers since.

    Parameters
    ----------
    photos : sequence of Labelled
        Recent ones; those that the fit was made from are left out by the caller.
    fit : ShopFit
        The fit.
    disagreed : Disagreed
        From the log.
    """
    return (_lean(photos, fit), _worse(photos, fit), _disagreements(disagreed))


def _lean(photos: Sequence[Labelled], fit: ShopFit) -> Check:
    leans = _by_group(photos, lambda one: one.is_bright - fit.applied(one.chances)[State.BRIGHT].astype(np.float64))
    if not len(leans):
        return Check("lean", "no recent photo is labelled", None)
    mean = float(leans.mean())
    more = "more" if mean > 0 else "less"
    seen = f"on {len(leans)} recent photos people find {abs(mean):.1%} {more} bright metal than the fit says"
    return Check("lean", seen, turned(leans, two_sided=True))


def _worse(photos: Sequence[Labelled], fit: ShopFit) -> Check:
    losses_more = _by_group(
        photos, lambda one: losses(fit.applied(one.chances), one.is_bright) - losses(one.chances, one.is_bright)
    )
    if not len(losses_more):
        return Check("worse", "no recent photo is labelled", None)
    seen = f"there the log loss is {float(losses_more.mean()):+.3f} against that of the model without the fit"
    return Check("worse", seen, turned(losses_more, two_sided=False))


def _disagreements(told: Disagreed) -> Check:
    if told.of == 0 or told.of_before == 0:
        return Check("disagreements", "there are no inspections before the fit, or none since", None)
    seen = (
        f"people disagreed with {told.hits} of {told.of} answers since, {told.hits_before} of {told.of_before} before"
    )
    return Check("disagreements", seen, more_often(told))


def _by_group(photos: Sequence[Labelled], value: Callable[[Labelled], Numbers]) -> Numbers:
    """Return the mean of a value of places over each group of photos."""
    groups: dict[str, list[Numbers]] = {}
    for one in photos:
        groups.setdefault(one.group, []).append(np.asarray(value(one), np.float64))
    return np.array([np.concatenate(values).mean() for values in groups.values()])


def turned(values: Numbers, *, two_sided: bool) -> float:
    """Return how often the mean is as far above 0 (or, two-sided, off 0) when signs are turned at random."""
    if len(values) <= _ALL_TURNS:
        signs = np.array(list(product((1.0, -1.0), repeat=len(values))))
    else:
        drawn = np.random.default_rng(_SEED).integers(0, 2, (_TURNS, len(values))) * 2.0 - 1
        signs = np.vstack([np.ones(len(values)), drawn])
    means, seen = signs @ values, float(values.sum())
    if two_sided:
        means, seen = np.abs(means), abs(seen)
    return float(np.mean(means >= seen - 1e-12))


def more_often(told: Disagreed) -> float:
    """Return the chance of at least so many disagreements since the fit, all being shared out at random (Fisher's test)."""
    every, hits = told.of + told.of_before, told.hits + told.hits_before
    whole = math.comb(every, told.of)
    ways = sum(
        math.comb(hits, k) * math.comb(every - hits, told.of - k)
        for k in range(told.hits, min(hits, told.of) + 1)
        if told.of - k <= every - hits
    )
    return ways / whole
