"""Starting values for TIG welding aluminium: computed beside handbook tables. The shop's qualified procedure rules."""

from __future__ import annotations

from dataclasses import dataclass

from prepcheck.errors import WrongUse
from prepcheck.settings import WeldSettings
from prepcheck.trade.bounds import bounded
from prepcheck.trade.facts import Fact, Mark
from prepcheck.trade.units import INCH_MM
from prepcheck.trade.weld_tables import TABLES, Band, Row, Table

RULE = Fact(1.0, "A per 0.001 in", "rule of thumb, printed on a welding supplier's chart", Mark.SEEN)
MOST_MM = 25.0
"""Thicker plate is not TIG welded with hand-held torches; the figure is a slip of the pen."""
_MOST_A = 1000.0


@dataclass(frozen=True)
class Reading:
    """What one handbook table says for a thickness; `current_a` is None outside the table."""

    table: Table
    current_a: Band | None
    tungsten_mm: Band | None
    rod_mm: Band | None
    gas_l_min: Band | None

    def __contains__(self, current_a: float) -> bool:
        return self.current_a is not None and self.current_a.low <= current_a <= self.current_a.high


@dataclass(frozen=True)
class Start:
    """Starting values for a thickness.

    Attributes
    ----------
    thickness_mm : float
    rule_a : float
        Current by the rule of thumb.
    current_a : float
        Current that the rest is computed for: the one given, else that of the rule.
    readings : tuple of Reading
        What each handbook says.
    post_flow_s : float
    heat_kj_mm : float or None
        Heat input, where voltage and speed were given.
    """

    thickness_mm: float
    rule_a: float
    current_a: float
    readings: tuple[Reading, ...]
    post_flow_s: float
    heat_kj_mm: float | None = None

    @property
    def in_tables(self) -> bool:
        """Whether any table reaches to this thickness."""
        return any(one.current_a is not None for one in self.readings)


def rule_of_thumb(thickness_mm: float) -> float:
    """Return the current in A by 1 A per 0.001 in."""
    bounded(thickness_mm, "the thickness", "mm", more_than=0, most=MOST_MM)
    return thickness_mm / INCH_MM * 1000 * RULE.value


def read_tables(thickness_mm: float) -> tuple[Reading, ...]:
    """Read every handbook table for a thickness."""

    def read(table: Table) -> Reading:
        sizes = (_tungsten, _rod, _gas)
        return Reading(table, table.current(thickness_mm), *(table.spread(thickness_mm, of) for of in sizes))

    return tuple(read(table) for table in TABLES)


def post_flow(current_a: float, settings: WeldSettings) -> float:
    """Return the seconds of gas after the arc: a share of the current, but not less than a least time."""
    return max(settings.post_flow_least_s, current_a / settings.post_flow_a_per_s)


def heat_input(current_a: float, voltage_v: float, speed_mm_s: float, efficiency: float) -> float:
    """Return the heat input in kJ/mm: efficiency x voltage x current / travel speed (EN 1011-1, from memory).

    Raises
    ------
    WrongUse
        A number out of range.
    """
    bounded(current_a, "the current", "A", more_than=0, most=_MOST_A)
    bounded(voltage_v, "the voltage", "V", more_than=0, most=100.0)
    bounded(speed_mm_s, "the travel speed", "mm/s", more_than=0, most=200.0)
    return efficiency * voltage_v * current_a / speed_mm_s / 1000


def start(
    thickness_mm: float,
    settings: WeldSettings,
    *,
    current_a: float | None = None,
    voltage_v: float | None = None,
    speed_mm_s: float | None = None,
) -> Start:
    """Compute starting values for a thickness, and heat input where voltage and speed are known.

    Raises
    ------
    WrongUse
        A number out of range, or one of voltage and speed without the other.
    """
    rule = rule_of_thumb(thickness_mm)
    current = rule if current_a is None else bounded(current_a, "the current", "A", more_than=0, most=_MOST_A)
    if (voltage_v is None) != (speed_mm_s is None):
        raise WrongUse("heat input needs voltage and travel speed", "Give both, or neither")
    heat = None
    if voltage_v is not None and speed_mm_s is not None:
        heat = heat_input(current, voltage_v, speed_mm_s, settings.arc_efficiency)
    return Start(thickness_mm, rule, current, read_tables(thickness_mm), post_flow(current, settings), heat)


def _tungsten(row: Row) -> Band | None:
    return row.tungsten_mm


def _rod(row: Row) -> Band | None:
    return row.rod_mm


def _gas(row: Row) -> Band | None:
    return row.gas_l_min
