"""The lines of a plan that purges with gas."""

from __future__ import annotations

from prepcheck.trade.clearing import limits
from prepcheck.trade.clearing.gases import CO2, PETROL_VAPOUR
from prepcheck.trade.clearing.planner import Need, PurgePlan
from prepcheck.trade.clearing.price import Price
from prepcheck.trade.clearing.said import amount, rounded
from prepcheck.trade.facts import Mark
from prepcheck.trade.plan import Line, source_of
from prepcheck.trade.units import FOOT_M, Kind, System, convert, shown

CELSIUS_K = 273.15
_IDEAL_GAS = f"ideal gas; {Mark.COMPUTED.value}"


def gas_lines(plan: PurgePlan, temperature_k: float, price: Price | None, system: System) -> tuple[Line, ...]:
    """Put a computed purge into lines, in the order in which a welder needs them."""
    return (
        *_wanted(plan.wanted, price, system),
        *_rule(plan, system),
        *(_other(need, system) for need in plan.needs[1:]),
        *_models(plan),
        _gas_of_mass(plan, temperature_k, system),
        *_cold(plan, system),
        Line("Vent", f"open, {shown(limits.VENT_HEIGHT.value * FOOT_M, Kind.HEIGHT, system, 2)} above ground or higher",
             source_of(limits.VENT_HEIGHT)),
        *_room(plan, system),
        *_airing(plan),
    )  # fmt: skip


def _wanted(need: Need, price: Price | None, system: System) -> tuple[Line, ...]:
    mixed = f"well mixed: {_volumes(need.mixed)} of gas, {_gas(need, system)}"
    lines = [
        Line(f"Below {need.target.value:.3g} % oxygen", mixed, source_of(need.target)),
        Line("The same", f"pushed out unmixed: {_volumes(need.displaced)}", "displacement; computed"),
    ]
    if need.minutes is not None:
        lines.append(Line("Time at this flow", shown(need.minutes * 60, Kind.TIME, system), "well mixed; computed"))
    if need.cost is not None and price is not None:
        lines.append(Line("Cost", f"{need.cost:.2f} {price.currency}".strip(), "well mixed, at your own price"))
    return tuple(lines)


def _volumes(volumes: float) -> str:
    return f"{volumes:.3f} vessel volumes"


def _gas(need: Need, system: System) -> str:
    return f"{amount(need.gas_m3, system)}, {shown(need.mass_kg, Kind.MASS, system)}"


def _other(need: Need, system: System) -> Line:
    label = "Hydrogen: below" if need.target is limits.HYDROGEN_OXYGEN else "Others say: below"
    value = f"well mixed {need.mixed:.3f}, unmixed {need.displaced:.3f} vessel volumes; {_gas(need, system)}"
    return Line(f"{label} {need.target.value:.3g} %", value, source_of(need.target))


def _rule(plan: PurgePlan, system: System) -> tuple[Line, ...]:
    if plan.rule is None:
        return ()
    rule = plan.rule
    value = (
        f"{shown(rule.mass_kg, Kind.MASS, system)}, crushed and spread: {amount(rule.gas_m3, system)} of gas,"
        f" {_volumes(rule.volumes)}, {rule.oxygen_mixed:.3g} % oxygen left if well mixed"
    )
    return (Line("Dry ice by rule of thumb", value, source_of(limits.DRY_ICE_RULE)),)


def _models(plan: PurgePlan) -> tuple[Line, ...]:
    mixed = "all stirred at every moment, C = C0 exp(-V/Vt). A corner behind a baffle lags behind it"
    heavy = plan.gas.relative_density > 1
    unmixed = (
        f"{plan.gas.name}, {plan.gas.relative_density:.2f} times as heavy as air, lies below the air and lifts it out."
        if heavy
        else f"{plan.gas.name}, {plan.gas.relative_density:.2f} times as heavy as air, pushes it out like a piston."
    )
    lift = f" It does not lift petrol vapour, {PETROL_VAPOUR:g} times as heavy as air" if heavy else ""
    return (
        Line("Well mixed assumes", mixed, "purge dilution formula, seen in the source"),
        Line("Unmixed assumes", f"{unmixed} The least there could be; no real purge does it.{lift}", "molar masses; computed"),
    )  # fmt: skip


def _gas_of_mass(plan: PurgePlan, temperature_k: float, system: System) -> Line:
    mass, symbol = ("1 kg", "kg") if system is System.METRIC else ("1 lb", "lb")
    gas_m3 = plan.m3_per_kg / convert(1.0, Kind.MASS, symbol)
    unit = "L" if system is System.METRIC else "ft3"
    value = f"{rounded(convert(gas_m3, Kind.VOLUME, unit))} {unit} at {shown(temperature_k, Kind.TEMPERATURE, system)}"
    return Line(f"Gas from {mass}", value, _IDEAL_GAS)


def _cold(plan: PurgePlan, system: System) -> tuple[Line, ...]:
    if plan.rule is None:
        return ()
    value = f"{shown(limits.SUBLIMES.value + CELSIUS_K, Kind.TEMPERATURE, system)}: it burns skin"
    return (Line("Dry ice is at", value, source_of(limits.SUBLIMES)),)


def _room(plan: PurgePlan, system: System) -> tuple[Line, ...]:
    known = "; ".join(map(str, limits.CO2_LIMITS)) if plan.gas is CO2 else ""
    limit_line = (Line("CO2 limits", known, "as told with each"),) if known else ()
    if plan.room is None:
        return limit_line
    lines = [
        Line("Gas in the room", f"{plan.room.ppm:.0f} ppm if all comes out and nobody airs it", Mark.COMPUTED.value),
        Line("Oxygen in the room", f"{plan.room.oxygen:.3g} % then", Mark.COMPUTED.value),
    ]
    if plan.room.least_m3 is not None:
        value = f"{shown(plan.room.least_m3, Kind.VOLUME, system)}, not aired, to stay at {limits.CO2_DAY.value:g} ppm"
        lines.append(Line("Room it would take", value, Mark.COMPUTED.value))
    return (*lines, *limit_line)


def _airing(plan: PurgePlan) -> tuple[Line, ...]:
    least, day = limits.LEAST_OXYGEN.value, limits.CO2_DAY
    volumes = f"{plan.airing_volumes:.3g} vessel volumes of air"
    again = Line(
        "Air it again",
        f"{volumes}, from none to {least:g} % oxygen, well mixed; then measure",
        Mark.COMPUTED.value,
    )
    if plan.gas is not CO2:
        return (again,)
    left = 100 * (1 - least / limits.NORMAL_AIR.value)
    further = (
        f"{least:g} % oxygen leaves up to {left:.2g} % CO2; {plan.co2_airing_volumes:.3g} volumes to {day.value:g} ppm"
    )
    return (again, Line("And on", further, f"{source_of(day)}; volumes computed"))
