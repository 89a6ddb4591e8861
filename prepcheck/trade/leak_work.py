"""All that is computed about one leak test before it is put into words."""

from __future__ import annotations

from dataclasses import dataclass

from prepcheck.errors import WrongUse
from prepcheck.settings import LeakSettings
from prepcheck.trade.bounds import bounded
from prepcheck.trade.entries import LeakEntry
from prepcheck.trade.facts import Fact, Mark
from prepcheck.trade.leak_energy import HEAT_RATIO, Stored, panel_force, stored
from prepcheck.trade.leak_rules import (
    LEAST_GAUGE_PA,
    MOST_GAUGE_PA,
    SYSTEM_LEAST,
    WATER,
    SystemPressure,
    density,
    head_pressure,
    strength_tests,
    system_pressure,
)


@dataclass(frozen=True)
class Wish:
    """What a person says about a leak test; all in inner units, None where not said."""

    medium: str
    head_m: float | None = None
    contents: str | None = None
    density_kg_m3: float | None = None
    volume_m3: float | None = None
    label_pa: float | None = None
    pressure_pa: float | None = None
    most_pa: float | None = None
    panel_mm2: float | None = None
    looks: tuple[LeakEntry, ...] = ()


@dataclass(frozen=True)
class LeakWork:
    """A leak test worked out.

    Attributes
    ----------
    wish : Wish
    density : Fact
        Of what the tank holds.
    head_pa : float or None
        Pressure at the foot when filled to overflow.
    system : SystemPressure or None
        By 33 CFR 183.542.
    strength : tuple of str
        Strength tests of a type of tank by its capacity.
    test : Fact
        The pressure that all else is computed for, and where it comes from.
    foot_pa : float or None
        With water: test pressure and head of water together at the foot.
    stored : Stored or None
    panel_n : float or None
    over_most, over_gas_limit : bool
        Whether the pressure is over what the person states, or with gas over the limit of the settings.
    """

    wish: Wish
    density: Fact
    head_pa: float | None
    system: SystemPressure | None
    strength: tuple[str, ...]
    test: Fact
    foot_pa: float | None
    stored: Stored | None
    panel_n: float | None
    over_most: bool
    over_gas_limit: bool

    @property
    def with_gas(self) -> bool:
        """Whether the tank is tested with a gas."""
        return self.wish.medium in HEAT_RATIO


def work_out(wish: Wish, settings: LeakSettings) -> LeakWork:
    """Work a leak test out.

    Raises
    ------
    WrongUse
        A medium that no tank is tested with, or a number out of range.
    """
    if wish.medium not in (*HEAT_RATIO, "water"):
        raise WrongUse("no tank is tested with it here", f"Take {', '.join(HEAT_RATIO)} or water", wish.medium[:40])
    held = density(wish.contents, wish.density_kg_m3)
    head = None if wish.head_m is None else head_pressure(wish.head_m, held.value)
    system = None if head is None else system_pressure(head)
    test = _test_pressure(wish, system)
    gas = wish.medium if wish.medium in HEAT_RATIO else "air"
    on_water = wish.head_m is not None and wish.medium == "water"
    foot = test.value + head_pressure(wish.head_m, WATER.value) if on_water and wish.head_m is not None else None
    return LeakWork(
        wish=wish,
        density=held,
        head_pa=head,
        system=system,
        strength=() if wish.volume_m3 is None else strength_tests(wish.volume_m3),
        test=test,
        foot_pa=foot,
        stored=None if wish.volume_m3 is None else stored(test.value, wish.volume_m3, gas),
        panel_n=None if wish.panel_mm2 is None else panel_force(test.value, wish.panel_mm2),
        over_most=_over_most(foot or test.value, wish.most_pa),
        over_gas_limit=wish.medium in HEAT_RATIO and test.value > settings.gas_most_kpa * 1000,
    )


def _test_pressure(wish: Wish, system: SystemPressure | None) -> Fact:
    """Return the pressure given, else that of the label, else that of the system rule."""
    for value, what in ((wish.pressure_pa, "the pressure"), (wish.label_pa, "the label's pressure")):
        if value is not None:
            bounded(value, what, "Pa", least=LEAST_GAUGE_PA, most=MOST_GAUGE_PA)
            return Fact(value, "Pa", f"{what} as given", Mark.SHOP)
    if system is not None:
        return Fact(system.pa, "Pa", f"33 CFR 183.542, {system.governs.value}", Mark.SEEN)
    return SYSTEM_LEAST


def _over_most(pressure_pa: float, most_pa: float | None) -> bool:
    if most_pa is None:
        return False
    return pressure_pa > bounded(
        most_pa, "the most that the tank may see", "Pa", least=LEAST_GAUGE_PA, most=MOST_GAUGE_PA
    )
