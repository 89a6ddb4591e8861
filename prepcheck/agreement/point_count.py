"""Area fractions from counted points, over fields (ASTM E562)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from prepcheck.agreement.form import Counted
from prepcheck.agreement.labels import counts_for
from prepcheck.terms import State

SOURCE = "ASTM E562 section 10 (formulas from memory, check them), t by Student's law"
FEWEST_FIELDS = 30
"""A usual least number of fields (E562, from memory): only ever shown."""


@dataclass(frozen=True)
class AreaFraction:
    """The share of an area in percent, estimated from points in several fields.

    Parameters
    ----------
    fields : int
        Photos, each of them one field.
    mean : float
        Mean over fields of the share of points.
    deviation, half_width : float or None
        Standard deviation between fields, and half width of the 95 % interval of the mean, ``t s / sqrt(n)``; None for
        one field, which says nothing about others.
    """

    fields: int
    mean: float
    deviation: float | None
    half_width: float | None

    @property
    def interval(self) -> tuple[float, float] | None:
        """The 95 % interval, within 0 to 100; None for one field, and where all agree on nothing or all of it."""
        if self.half_width is None or (not self.half_width and self.mean in (0, 100)):
            return None
        return max(0.0, self.mean - self.half_width), min(100.0, self.mean + self.half_width)

    @property
    def relative_accuracy(self) -> float | None:
        """Half width in percent of the mean; None where there is none."""
        return None if self.half_width is None or not self.mean else 100 * self.half_width / self.mean


def area_fraction(percents: Sequence[float]) -> AreaFraction:
    """Estimate an area fraction from the percentage of hit points in each field."""
    from scipy.special import stdtrit

    fields, mean = len(percents), fmean(percents)
    if fields < 2:
        return AreaFraction(fields, mean, None, None)
    deviation = stdev(percents)
    return AreaFraction(fields, mean, deviation, float(stdtrit(fields - 1, 0.975)) * deviation / math.sqrt(fields))


def percent_of(counted: Counted, state: State) -> float:
    """Return the percentage of points on a state in one field; a point on its boundary counts one half."""
    return 100 * sum(counts_for(label, state) for label in counted.labels) / len(counted.labels)


def fractions(counts: Sequence[Counted]) -> dict[State, AreaFraction]:
    """Estimate the area fraction of each state over the fields that one person counted."""
    return {state: area_fraction([percent_of(one, state) for one in counts]) for state in State}


def fields_needed(found: AreaFraction, wished: float) -> int | None:
    """Return how many fields a relative accuracy of `wished` percent needs: four times as many for half of it.

    E562 sections 11.1 to 11.4: 30 fields at 20 % make 120 at 10 %. Equal spread between fields is taken for granted.
    None where no relative accuracy is known, or is nothing at all.
    """
    if not found.relative_accuracy:
        return None
    return max(2, math.ceil(round(found.fields * (found.relative_accuracy / wished) ** 2, 9)))
