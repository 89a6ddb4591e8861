"""Which pressure the rules ask for, as far as they were seen, and the head of what a tank holds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from prepcheck.errors import WrongUse
from prepcheck.trade.bounds import bounded
from prepcheck.trade.facts import Fact, Mark
from prepcheck.trade.units import GALLON_M3, GRAVITY, PSI_PA

MOST_HEAD_M = 30.0
MOST_VOLUME_M3 = 200.0
MOST_GAUGE_PA = 1e6
LEAST_HEAD_M = 0.001
LEAST_VOLUME_M3 = 1e-6
LEAST_GAUGE_PA = 1.0
"""Bounds beyond which a figure is a slip of the pen: no tank here is so high, large or strong, or so small."""

WATER = Fact(1000.0, "kg/m3", "62.43 lb/ft3", Mark.COMPUTED)
CONTENTS = {
    "petrol": Fact(740.0, "kg/m3", "specific gravity 0.74, a fire magazine", Mark.SEEN),
    "diesel": Fact(850.0, "kg/m3", "specific gravity 0.85, usual figure", Mark.MEMORY),
    "water": WATER,
}
"""Densities of what tanks hold."""

SYSTEM_LEAST = Fact(3 * PSI_PA, "Pa", "33 CFR 183.542, 3 psi", Mark.SEEN)
SYSTEM_HEADS = Fact(1.5, "x head at the lowest point, filled to overflow", "33 CFR 183.542", Mark.SEEN)
INTEGRAL_DIESEL = Fact(35_000.0, "Pa", "46 CFR 182.435 and 119.435, 35 kPa (5 psig)", Mark.SEEN)
STANDPIPE_M = Fact(3.5, "m", "46 CFR 182.435 and 119.435, standpipe of 3.5 m (11.5 ft)", Mark.SEEN)
AFTER_FIRE = Fact(0.25 * PSI_PA, "Pa", "33 CFR 183.510, 1/4 psig", Mark.SEEN)
SMALL_CRAFT = Fact(1800.0, "Pa", "ISO 21487:2022 as summarised by a seller of standards, 1.8 kPa", Mark.SEEN)
IMPULSES = Fact(25_000.0, "cycles", "33 CFR 183.586, at most 15 a minute", Mark.SEEN)
IMPULSES_PER_MINUTE = 15
_SMALL_TANK_M3 = 25 * GALLON_M3
_LARGE_TANK_M3 = 200 * GALLON_M3


class Governs(StrEnum):
    """What decides the system pressure of 33 CFR 183.542."""

    LEAST = "3 psi, the least"
    HEAD = "1.5 x head"


@dataclass(frozen=True)
class SystemPressure:
    """Pressure of a fuel system's test, and what decides it."""

    pa: float
    governs: Governs


def density(contents: str | None, given_kg_m3: float | None) -> Fact:
    """Return the density of what a tank holds: the one given, else by name, else that of water, the heaviest named.

    Raises
    ------
    WrongUse
        A name that is not known here, or a density out of range.
    """
    if given_kg_m3 is not None:
        bounded(given_kg_m3, "the density", "kg/m3", least=1.0, most=3000.0)
        return Fact(given_kg_m3, "kg/m3", "as given", Mark.SHOP)
    if contents is None:
        return WATER
    if contents not in CONTENTS:
        raise WrongUse(
            "its density is not known here",
            f"Give its density, or one of {', '.join(CONTENTS)}",
            contents[:40],
            command="--density",
        )
    return CONTENTS[contents]


def head_pressure(head_m: float, density_kg_m3: float) -> float:
    """Return the pressure in Pa at the foot of a column.

    Raises
    ------
    WrongUse
        A head out of range.
    """
    return density_kg_m3 * GRAVITY * bounded(head_m, "the head", "m", least=LEAST_HEAD_M, most=MOST_HEAD_M)


def system_pressure(head_pa: float) -> SystemPressure:
    """Return the greater of 3 psi and 1.5 x head (33 CFR 183.542, seen): the test of a boat's fuel *system*."""
    by_head = SYSTEM_HEADS.value * head_pa
    if by_head > SYSTEM_LEAST.value:
        return SystemPressure(by_head, Governs.HEAD)
    return SystemPressure(SYSTEM_LEAST.value, Governs.LEAST)


def strength_tests(volume_m3: float) -> tuple[str, ...]:
    """Return which strength tests a type of tank goes through by its capacity (33 CFR 183.510, seen).

    The rule names 25 to 199 US gal and 200 US gal or more; what lies between 199 and 200 counts as below 200.

    Raises
    ------
    WrongUse
        A volume out of range.
    """
    bounded(volume_m3, "the volume", "m3", least=LEAST_VOLUME_M3, most=MOST_VOLUME_M3)
    rounding = 1e-9
    if volume_m3 < _SMALL_TANK_M3 * (1 - rounding):
        return ("shock",)
    return ("pressure impulse",) if volume_m3 < _LARGE_TANK_M3 * (1 - rounding) else ("pressure impulse", "slosh")


def impulse_seconds() -> float:
    """Return the shortest time that the pressure impulse test takes (33 CFR 183.586; computed)."""
    return IMPULSES.value / IMPULSES_PER_MINUTE * 60
