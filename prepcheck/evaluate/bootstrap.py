"""Figures with intervals: counts of photos are added up, and drawn again by group (a photo, or the photos of one scene)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, Self, TypeVar

import numpy as np

DRAWS, SEED = 1000, 7


@dataclass(frozen=True, eq=False)
class Counts:
    """Numbers, or arrays of one shape each, that add up over photos."""

    def __add__(self, other: Self) -> Self:
        return type(self)(**{f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self)})

    def as_dict(self) -> dict[str, Any]:
        """Give the counts as plain numbers and lists."""
        return {f.name: np.asarray(getattr(self, f.name)).tolist() for f in fields(self)}


C = TypeVar("C", bound=Counts)
Measure = Callable[[Any], Any]


@dataclass(frozen=True)
class Figure:
    """A measure with its 95 % bootstrap interval over groups; NaN where there is nothing to measure."""

    value: float
    low: float
    high: float


def total(counts: Sequence[C]) -> C:
    """Add up counts, of which there is at least one."""
    summed = counts[0]
    for one in counts[1:]:
        summed = summed + one
    return summed


def by_group(counts: Iterable[tuple[str, C]]) -> list[C]:
    """Add up the counts of each group."""
    groups: dict[str, C] = {}
    for group, one in counts:
        groups[group] = groups[group] + one if group in groups else one
    return list(groups.values())


def figures(
    groups: Sequence[C], measures: Mapping[str, Measure], *, draws: int = DRAWS, seed: int = SEED
) -> dict[str, Figure]:
    """Return every measure over all groups with its 95 % percentile interval (B. Efron, Annals of Statistics 7, 1979).

    Parameters
    ----------
    groups : sequence of Counts
        At least one; each is drawn as a whole.
    measures : dict
        Functions of counts. They get plain counts, and counts whose fields have one leading axis of `draws`.
    """
    summed, drawn = total(groups), _drawn(groups, draws, seed)
    return {name: Figure(float(measure(summed)), *_interval(measure(drawn))) for name, measure in measures.items()}


def _drawn(groups: Sequence[C], draws: int, seed: int) -> C:
    """Add up groups drawn with replacement, `draws` times: fields get a leading axis of `draws`."""
    n = len(groups)
    picks = np.random.default_rng(seed).multinomial(n, np.full(n, 1 / n), size=draws).astype(np.float64)
    stacked = {f.name: np.array([getattr(group, f.name) for group in groups], float) for f in fields(groups[0])}
    return type(groups[0])(**{name: np.tensordot(picks, values, axes=1) for name, values in stacked.items()})


def _interval(values: Any) -> tuple[float, float]:
    known = np.asarray(values)[~np.isnan(values)]
    if known.size == 0:
        return float("nan"), float("nan")
    low, high = np.quantile(known, (0.025, 0.975))
    return float(low), float(high)
