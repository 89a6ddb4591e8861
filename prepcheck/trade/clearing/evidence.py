"""Which readings speak for a condition: those taken in it, the latest at each place and height."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from prepcheck.trade.entries import Gas, GasReading, VesselCondition
from prepcheck.trade.facts import Fact, Remark, Weight
from prepcheck.trade.plan import source_of
from prepcheck.trade.units import Kind, System, shown

UNITS = {Gas.OXYGEN: "% oxygen", Gas.FLAMMABLE: "% LEL", Gas.TOXIC: "ppm"}

_MOST_NAMED = 4


@dataclass(frozen=True)
class Evidence:
    """The readings of a condition.

    Parameters
    ----------
    taken : tuple of GasReading
        All that were taken in the condition and not in the future, in the order in which they were taken.
    current : tuple of GasReading
        Of each gas the latest at each place and height.
    set_aside : tuple of GasReading
        Taken before the condition; they say nothing about it.
    future : tuple of GasReading
        Said to be taken later than now.
    system : System
        Units in which remarks tell lengths.
    """

    taken: tuple[GasReading, ...]
    current: tuple[GasReading, ...]
    set_aside: tuple[GasReading, ...]
    future: tuple[GasReading, ...]
    system: System

    def of(self, gas: Gas) -> tuple[GasReading, ...]:
        """Return the current readings of `gas`."""
        return tuple(one for one in self.current if one.gas is gas)

    def about(
        self, readings: Iterable[GasReading], weight: Weight, code: str, text: str, source: str = ""
    ) -> tuple[Remark, ...]:
        """Return one remark about `readings`, the first few of which it names; nothing when there are none."""
        named = [self._told(one) for one in readings]
        rest = [f"{len(named) - _MOST_NAMED} more"] if len(named) > _MOST_NAMED else []
        told = "; ".join(named[:_MOST_NAMED] + rest)
        return (Remark(code, weight, f"{text}: {told}.", source),) if named else ()

    def by_figure(self, fact: Fact, code: str, text: str, readings: Iterable[GasReading]) -> tuple[Remark, ...]:
        """Hold by the figure `fact`; only warn where it may not hold anything. Nothing without `readings`."""
        weight = Weight.HOLD if fact.may_hold else Weight.WARN
        return self.about(readings, weight, code, text, source_of(fact))

    def _told(self, reading: GasReading) -> str:
        metres = reading.height_m
        height = "" if metres is None else f" at {shown(metres, Kind.HEIGHT, self.system, 2)}"
        what = f" {reading.of}" if reading.of else ""
        place = reading.place or "no place told"
        return f"{reading.value:g} {UNITS[reading.gas]}{what}, {place}{height}, {reading.taken_at:%H:%M}"


def gather(condition: VesselCondition, readings: Sequence[GasReading], now: datetime, system: System) -> Evidence:
    """Sort out which of `readings` speak for `condition` at the time `now`."""
    in_order = sorted(readings, key=lambda one: (one.taken_at, where(one), one.height_m or 0.0, one.gas, one.value))
    taken = tuple(one for one in in_order if condition.at <= one.taken_at <= now)
    return Evidence(
        taken=taken,
        current=tuple(one for one in taken if not any(_replaces(later, one) for later in taken)),
        set_aside=tuple(one for one in in_order if one.taken_at < condition.at),
        future=tuple(one for one in in_order if one.taken_at > now),
        system=system,
    )


def _replaces(later: GasReading, reading: GasReading) -> bool:
    """Whether `later` measured the same again; a reading without a height is measured again at any height."""
    same = (later.gas, later.of.casefold(), where(later)) == (reading.gas, reading.of.casefold(), where(reading))
    return same and later.taken_at > reading.taken_at and reading.height_m in (None, later.height_m)


def where(reading: GasReading) -> str:
    """Return the place of a reading so that two ways to write it are one place."""
    return " ".join(reading.place.casefold().split())


def oxygen_at(reading: GasReading, evidence: Evidence) -> float | None:
    """Return the lowest oxygen in which `reading` may have been taken, in % by volume; None if nobody measured it.

    Counted are the readings of the same place, of all places where there is none; at other heights too.
    """
    oxygen = [one for one in evidence.taken if one.gas is Gas.OXYGEN]
    near = [one for one in oxygen if where(one) == where(reading)] or oxygen
    before = [one for one in near if one.taken_at <= reading.taken_at]
    return min((one.value for one in _latest_each_height(before) or near), default=None)


def _latest_each_height(readings: Iterable[GasReading]) -> list[GasReading]:
    return list({(where(one), one.height_m): one for one in readings}.values())
