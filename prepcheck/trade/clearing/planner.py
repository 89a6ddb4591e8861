"""The purge planner: what a purge of a vessel takes, for every oxygen target, and where the gas goes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from prepcheck.errors import WrongUse
from prepcheck.trade.bounds import bounded
from prepcheck.trade.clearing import gases, limits
from prepcheck.trade.clearing.gases import PurgeGas
from prepcheck.trade.clearing.limits import Family
from prepcheck.trade.clearing.price import Price
from prepcheck.trade.clearing.purge import displaced_volumes, mixed, mixed_volumes
from prepcheck.trade.facts import Fact
from prepcheck.trade.units import GALLON_M3, POUND_KG, STANDARD_PA

DRY_ICE_KG_M3 = limits.DRY_ICE_RULE.value * POUND_KG / (100 * GALLON_M3)
"""The rule of 1.5 lb per 100 US gal, in kg per m3 of vessel."""
ROOM_TEMPERATURE_K = 293.15


class Method(StrEnum):
    """How a vessel is to be cleared."""

    DRY_ICE = "dry-ice"
    CO2 = "co2"
    NITROGEN = "nitrogen"
    ARGON = "argon"
    VENTILATE = "ventilate"
    WATER = "water"


GASES = {
    Method.DRY_ICE: gases.CO2,
    Method.CO2: gases.CO2,
    Method.NITROGEN: gases.NITROGEN,
    Method.ARGON: gases.ARGON,
}
"""The methods that take the oxygen away, with their gas."""


@dataclass(frozen=True)
class Need:
    """What one oxygen target takes, by both models; gas, mass, minutes and cost are those of the well-mixed one.

    Parameters
    ----------
    target : Fact
        Oxygen in % by volume, with who says so.
    mixed, displaced : float
        Vessel volumes by the well-mixed model and by the displacement model.
    gas_m3, mass_kg : float
        Gas at the vessel's temperature and pressure.
    minutes, cost : float or None
        None without a flow, without a price.
    """

    target: Fact
    mixed: float
    displaced: float
    gas_m3: float
    mass_kg: float
    minutes: float | None
    cost: float | None


@dataclass(frozen=True)
class DryIceRule:
    """What the rule of thumb for dry ice gives: mass, gas, vessel volumes, and oxygen left if well mixed."""

    mass_kg: float
    gas_m3: float
    volumes: float
    oxygen_mixed: float


@dataclass(frozen=True)
class RoomAir:
    """All the gas in the air of a room that nobody airs.

    Parameters
    ----------
    ppm, oxygen : float
        Of the gas, by volume; of oxygen, in %.
    reached : tuple of Fact
        The exposure limits that are reached.
    least_m3 : float or None
        Room that it would take to stay at the limit for a working day; None for gases without one.
    """

    ppm: float
    oxygen: float
    reached: tuple[Fact, ...]
    least_m3: float | None


@dataclass(frozen=True)
class PurgePlan:
    """A purge as computed; see `purge_plan`."""

    method: Method
    gas: PurgeGas
    volume_m3: float
    m3_per_kg: float
    needs: tuple[Need, ...]
    rule: DryIceRule | None
    room: RoomAir | None
    airing_volumes: float

    @property
    def wanted(self) -> Need:
        """What the target asked for takes; it stands first."""
        return self.needs[0]

    @property
    def co2_airing_volumes(self) -> float:
        """Vessel volumes of air from pure CO2 to its limit for a working day, well mixed."""
        return mixed_volumes(100.0, limits.CO2_DAY.value * 1e-4)

    @property
    def released_m3(self) -> float:
        """Gas that comes out into the room: all that the target takes, or the rule of thumb where that is more."""
        return max(self.wanted.gas_m3, self.rule.gas_m3 if self.rule else 0.0)


def purge_plan(
    volume_m3: float,
    method: Method,
    target: Fact,
    *,
    of: Family = Family.OTHER,
    temperature_k: float = ROOM_TEMPERATURE_K,
    pressure_pa: float = STANDARD_PA,
    gas_oxygen: float = 0.0,
    flow_l_min: float | None = None,
    price: Price | None = None,
    room_m3: float | None = None,
) -> PurgePlan:
    """Plan a purge that takes the oxygen away.

    Parameters
    ----------
    volume_m3 : float
        Of the vessel, empty, 0.001 to 200 m3.
    method : Method
        Dry ice, CO2, nitrogen or argon.
    target : Fact
        Oxygen to come below, % by volume; the other targets in use are computed beside it.
    of : Family
        What the vessel held; decides which limiting oxygen is listed.
    temperature_k, pressure_pa : float
        Of the gas in the vessel.
    gas_oxygen : float
        Oxygen in the purge gas, % by volume.
    flow_l_min : float, optional
        Flow of the gas at the vessel's temperature; dry ice has none.
    price : Price, optional
        The user's own.
    room_m3 : float, optional
        Room in which the gas comes out.

    Raises
    ------
    WrongUse
        A value that cannot be, a target that no amount of gas reaches, a flow of dry ice.
    """
    bounded(volume_m3, "the volume", "m3", least=0.001, most=200.0)
    gas = _gas(method, flow_l_min)
    m3_per_kg = gas.m3_per_kg(temperature_k, pressure_pa)
    rule = _rule(volume_m3, m3_per_kg) if method is Method.DRY_ICE else None
    aims = limits.targets(of, gas is gases.CO2, target)
    needs = tuple(
        _need(aim, volume_m3, m3_per_kg, gas_oxygen, flow_l_min, price) for aim in aims if _reached(aim, gas_oxygen)
    )
    if not needs or needs[0].target is not target:
        raise WrongUse(f"a gas with {gas_oxygen:g} % oxygen never comes to {target.value:g} %", "Use a purer gas")
    airing = mixed_volumes(0.0, limits.LEAST_OXYGEN.value, limits.NORMAL_AIR.value)
    plan = PurgePlan(method, gas, volume_m3, m3_per_kg, needs, rule, None, airing)
    return plan if room_m3 is None else _in_room(plan, room_m3)


def room_air(gas: PurgeGas, gas_m3: float, room_m3: float) -> RoomAir:
    """Spread `gas_m3` of a gas over a room of `room_m3` that nobody airs; of more gas than room all is gas."""
    bounded(room_m3, "the room", "m3", least=0.1, most=100_000.0)
    share = min(gas_m3 / room_m3, 1.0)
    known = gas is gases.CO2
    reached = tuple(one for one in limits.CO2_LIMITS if known and share * 1e6 >= one.value)
    least = gas_m3 / (limits.CO2_DAY.value * 1e-6) if known else None
    return RoomAir(share * 1e6, limits.NORMAL_AIR.value * (1 - share), reached, least)


def _gas(method: Method, flow_l_min: float | None) -> PurgeGas:
    if method not in GASES:
        raise WrongUse(f"{method.value} takes no oxygen away", "Plan it without an oxygen target")
    if method is Method.DRY_ICE and flow_l_min is not None:
        raise WrongUse("dry ice has no flow that can be set", "Leave the flow out")
    if flow_l_min is not None:
        bounded(flow_l_min, "the flow", "L/min", least=0.1, most=20_000.0)
    return GASES[method]


def _need(
    target: Fact, volume_m3: float, m3_per_kg: float, gas_oxygen: float, flow_l_min: float | None, price: Price | None
) -> Need:
    start = limits.NORMAL_AIR.value
    volumes = mixed_volumes(start, target.value, gas_oxygen)
    gas_m3 = volumes * volume_m3
    mass_kg = gas_m3 / m3_per_kg
    return Need(
        target=target,
        mixed=volumes,
        displaced=displaced_volumes(start, target.value, gas_oxygen),
        gas_m3=gas_m3,
        mass_kg=mass_kg,
        minutes=None if flow_l_min is None else gas_m3 * 1000 / flow_l_min,
        cost=None if price is None else price.cost(mass_kg, gas_m3),
    )


def _reached(target: Fact, gas_oxygen: float) -> bool:
    return gas_oxygen < target.value < limits.NORMAL_AIR.value


def _rule(volume_m3: float, m3_per_kg: float) -> DryIceRule:
    mass_kg = DRY_ICE_KG_M3 * volume_m3
    volumes = mass_kg * m3_per_kg / volume_m3
    return DryIceRule(mass_kg, mass_kg * m3_per_kg, volumes, mixed(limits.NORMAL_AIR.value, 0.0, volumes))


def _in_room(plan: PurgePlan, room_m3: float) -> PurgePlan:
    return replace(plan, room=room_air(plan.gas, plan.released_m3, room_m3))
