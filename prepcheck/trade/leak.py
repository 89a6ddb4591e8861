"""A pressure watched over time: leak rate with temperature correction, and how well it is known.

Rate of the amount of gas by 40 CFR 1065.644 (seen): ``(V / R) (p2 / T2 - p1 / T1) / (t2 - t1)``, with absolute pressures.
Here a loss is positive. Errors are 95 % half widths and independent.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from prepcheck.settings import LeakSettings
from prepcheck.trade.bounds import bounded
from prepcheck.trade.entries import LeakEntry
from prepcheck.trade.facts import Fact, Mark
from prepcheck.trade.leak_rules import LEAST_VOLUME_M3, MOST_GAUGE_PA, MOST_VOLUME_M3
from prepcheck.trade.units import STANDARD_PA

GAS_CONSTANT = Fact(8.314472, "J/(mol K)", "as used in 40 CFR 1065.644", Mark.SEEN)
STANDARD_K = 273.15
"""Temperature of the standard cm3 (0 C), with the standard atmosphere."""
_PA_M3_OF_A_MOL = GAS_CONSTANT.value * STANDARD_K
BUBBLE_LIMIT = Fact(1e-5, "std cm3/s", "ASTM E515 section 1.1, the least that bubbles show", Mark.SEEN)


@dataclass(frozen=True)
class Moment:
    """State of the gas at one time: absolute pressure in Pa, temperature in K, with their errors."""

    absolute_pa: float
    kelvin: float
    error_pa: float = 0.0
    error_k: float = 0.0


@dataclass(frozen=True)
class Decay:
    """A pressure watched over time.

    Attributes
    ----------
    mol_s, error_mol_s : float
        Loss of gas, and its 95 % half width; negative where the gas seems to have grown.
    drop_pa, corrected_pa : float
        Fall of the absolute pressure as read, and what is left of it at the temperature of the start.
    seconds : float
    """

    mol_s: float
    error_mol_s: float
    drop_pa: float
    corrected_pa: float
    seconds: float

    @property
    def seen(self) -> bool:
        """Whether the loss stands out from its error."""
        return self.mol_s > self.error_mol_s

    @property
    def grown(self) -> bool:
        """Whether gas seems to have come in by more than the error: a reading is wrong."""
        return -self.mol_s > self.error_mol_s

    @property
    def pa_m3_s(self) -> float:
        """Loss in Pa m3/s of gas at `STANDARD_K`, which standard cm3/s are too."""
        return self.mol_s * _PA_M3_OF_A_MOL

    @property
    def error_pa_m3_s(self) -> float:
        """Error of the loss in Pa m3/s."""
        return self.error_mol_s * _PA_M3_OF_A_MOL


def amount_rate(start: Moment, end: Moment, volume_m3: float, seconds: float) -> Decay:
    """Compute the loss of gas between two moments.

    Raises
    ------
    WrongUse
        A number out of range.
    """
    for moment in (start, end):
        bounded(moment.absolute_pa, "an absolute pressure", "Pa", more_than=0, most=MOST_GAUGE_PA + 2 * STANDARD_PA)
        bounded(moment.kelvin, "a temperature", "K", more_than=100.0, most=500.0)
        bounded(moment.error_pa, "the error of the pressure", "Pa", most=MOST_GAUGE_PA)
        bounded(moment.error_k, "the error of the temperature", "K", most=50.0)
    bounded(volume_m3, "the volume", "m3", least=LEAST_VOLUME_M3, most=MOST_VOLUME_M3)
    bounded(seconds, "the time", "s", more_than=0, most=31e6)
    per = volume_m3 / (GAS_CONSTANT.value * seconds)
    lost = start.absolute_pa / start.kelvin - end.absolute_pa / end.kelvin
    parts = [part for moment in (start, end) for part in _error_parts(moment)]
    drop = start.absolute_pa - end.absolute_pa
    return Decay(per * lost, per * math.hypot(*parts), drop, lost * start.kelvin, seconds)


def _error_parts(moment: Moment) -> tuple[float, float]:
    by_temperature = moment.absolute_pa * moment.error_k / moment.kelvin**2
    return moment.error_pa / moment.kelvin, by_temperature


def pressure_per_kelvin(gauge_pa: float, kelvin: float, ambient_pa: float = STANDARD_PA) -> float:
    """Return by how many Pa a change of 1 K moves the pressure in a tight tank."""
    return (ambient_pa + gauge_pa) / kelvin


def decay_of(entry: LeakEntry, settings: LeakSettings) -> Decay | None:
    """Return what a log of pressure over time shows; None for another kind of entry, for water,
    or where a figure is missing.

    Errors that were not told are those of the settings; where the air's pressure was not read again at the end, what the
    weather may have done counts as an error of the end.

    Raises
    ------
    WrongUse
        A number out of range.
    """
    figures = (entry.volume_m3, entry.start_pa, entry.end_pa, entry.start_k, entry.end_k, entry.seconds)
    if entry.method != "decay" or None in figures or with_water(entry):
        return None
    volume, start_pa, end_pa, start_k, end_k, seconds = (float(one) for one in figures if one is not None)
    error_pa = settings.gauge_error_pa if entry.pressure_error_pa is None else entry.pressure_error_pa
    error_k = settings.temperature_error_k if entry.temperature_error_k is None else entry.temperature_error_k
    weather = settings.ambient_error_pa if entry.end_ambient_pa is None else 0.0
    end_ambient = entry.ambient_pa if entry.end_ambient_pa is None else entry.end_ambient_pa
    start = Moment(entry.ambient_pa + start_pa, start_k, error_pa, error_k)
    end = Moment(end_ambient + end_pa, end_k, math.hypot(error_pa, weather), error_k)
    return amount_rate(start, end, volume, seconds)


def with_water(entry: LeakEntry) -> bool:
    """Whether the tank was under water pressure: the law of gases says nothing about it."""
    return entry.medium.strip().lower() == "water"


def in_order(entries: Iterable[LeakEntry]) -> tuple[LeakEntry, ...]:
    """Return repeated looks for leaks in the order in which they were made."""
    return tuple(sorted(entries, key=lambda entry: entry.started_at))
