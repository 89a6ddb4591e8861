"""Whether recent labels and disagreements still go with a shop's fit, or speak against it beyond chance.

Three checks, each by the chance of seeing as much if nothing had changed. Photos are the independent ones, not their points:

* lean: by how much more, or less, bright metal than the fit says people find on photos that it has not seen, against the same
  on its own photos when they were left out: shared out anew between old and recent at random (E. J. G. Pitman, 1937, from
  memory);
* worse: on recent photos the fit's log loss is higher than that of the model without it, by turning signs around photo by
  photo (R. A. Fisher, The Design of Experiments, 1935, from memory); seven photos are the fewest that can come below 1 %;
* disagreements: people disagree with the answers of the tool more often than before the fit, by Fisher's exact test.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from prepcheck.evaluate.fit_shop import Labelled, leans_of, losses
from prepcheck.evaluate.measures import Numbers
from prepcheck.surface import ShopFit

_ALL_TURNS = 12
"""Up to so many photos all turns of signs are tried; of more, some."""
_DRAWS, _SEED = 9999, 7
_ROUNDING = 1e-12


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


def drift(photos: Sequence[Labelled], fit: ShopFit, leans: Sequence[float], disagreed: Disagreed) -> tuple[Check, ...]:
    """Hold a fit against labels that it has not seen, and against what people said of answers since.

    Parameters
    ----------
    photos : sequence of Labelled
        Recent ones; those that the fit was made from are left out by the caller.
    fit : ShopFit
        The fit.
    leans : sequence of float
        Those of its own photos when left out, `prepcheck.evaluate.fit_shop.Proof.leans`.
    disagreed : Disagreed
        From the log.
    """
    return (_lean(photos, fit, leans), _worse(photos, fit), _disagreements(disagreed))


def _lean(photos: Sequence[Labelled], fit: ShopFit, leans: Sequence[float]) -> Check:
    recent = np.array(list(leans_of(photos, {one.group: fit for one in photos}).values()))
    if not len(recent) or not leans:
        return Check("lean", "no recent photo is labelled", None)
    seen = f"on {len(recent)} recent photos people find {_more(recent)} bright metal than the fit says"
    own = np.array(leans)
    return Check("lean", f"{seen}, on its own when left out {_more(own)}", shared_out(recent, own))


def _more(leans: Numbers) -> str:
    mean = float(leans.mean())
    return f"{abs(mean):.1%} {'more' if mean > 0 else 'less'}"


def _worse(photos: Sequence[Labelled], fit: ShopFit) -> Check:
    more: dict[str, list[Numbers]] = {}
    for one in photos:
        with_fit = losses(fit.applied(one.chances), one.is_bright)
        more.setdefault(one.group, []).append(with_fit - losses(one.chances, one.is_bright))
    if not more:
        return Check("worse", "no recent photo is labelled", None)
    by_group = np.array([np.concatenate(values).mean() for values in more.values()])
    seen = f"there the log loss is {float(by_group.mean()):+.3f} against that of the model without the fit"
    return Check("worse", seen, turned(by_group))


def _disagreements(told: Disagreed) -> Check:
    if told.of == 0 or told.of_before == 0:
        return Check("disagreements", "there are no inspections before the fit, or none since", None)
    seen = (
        f"people disagreed with {told.hits} of {told.of} answers since, {told.hits_before} of {told.of_before} before"
    )
    return Check("disagreements", seen, more_often(told))


def turned(values: Numbers) -> float:
    """Return how often the mean is as far above 0 when signs are turned at random."""
    if len(values) <= _ALL_TURNS:
        signs = np.array(list(product((1.0, -1.0), repeat=len(values))))
    else:
        drawn = np.random.default_rng(_SEED).integers(0, 2, (_DRAWS, len(values))) * 2.0 - 1
        signs = np.vstack([np.ones(len(values)), drawn])
    sums = (signs * values).sum(axis=1)
    return float(np.mean(sums >= values.sum() - _ROUNDING))


def shared_out(some: Numbers, others: Numbers) -> float:
    """Return how often two means lie as far apart when all values are shared out between the two at random."""
    every, rng = np.concatenate([some, others]), np.random.default_rng(_SEED)
    drawn = np.stack([rng.permutation(every)[: len(some)] for _ in range(_DRAWS)]).sum(axis=1)
    apart = np.abs(drawn - every.mean() * len(some))
    seen = abs(float(some.sum()) - every.mean() * len(some))
    return float((1 + np.count_nonzero(apart >= seen - _ROUNDING)) / (1 + _DRAWS))


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
