"""The plan of a leak test, in words."""

from __future__ import annotations

from collections.abc import Iterable

from prepcheck.settings import COMMON, LeakSettings
from prepcheck.trade.facts import Remark, Weight, of_setting
from prepcheck.trade.leak import BUBBLE_LIMIT
from prepcheck.trade.leak_energy import PERSON_KG, Stored
from prepcheck.trade.leak_looks import drift, judge
from prepcheck.trade.leak_rules import (
    AFTER_FIRE,
    IMPULSES,
    INTEGRAL_DIESEL,
    SMALL_CRAFT,
    STANDPIPE_M,
    SYSTEM_HEADS,
    SYSTEM_LEAST,
    WATER,
    head_pressure,
    impulse_seconds,
)
from prepcheck.trade.leak_work import LeakWork
from prepcheck.trade.plan import Line, Plan, source_of
from prepcheck.trade.units import GRAVITY, STANDARD_PA, Kind, System, shown, span

_ROOM_K = 293.15


def leak_plan(work: LeakWork, settings: LeakSettings, inputs: tuple[tuple[str, str], ...], system: System) -> Plan:
    """Put a leak test into words, in one system of units."""
    looks = judge(work.wish.looks, settings, system)
    lines = (*_pressure_lines(work, system), *_rule_lines(work, system), *_energy_lines(work, system), *looks.lines)
    return Plan("leak", inputs, lines, (*_limit_remarks(work, settings, system), *_remarks(work), *looks.remarks))


def _pressure_lines(work: LeakWork, system: System) -> Iterable[Line]:
    if work.head_pa is not None:
        source = f"{shown(work.density.value, Kind.DENSITY, system)}, {source_of(work.density)}"
        yield Line("Head, filled to overflow", _pressure(work.head_pa, system), source)
    yield Line("Fuel system test of a boat", _system(work, system), source_of(SYSTEM_HEADS))
    yield Line("Pressure reckoned with below", _pressure(work.test.value, system), source_of(work.test))
    if work.foot_pa is not None:
        yield Line("At the foot, with the head of water", _pressure(work.foot_pa, system), source_of(WATER))
    if work.with_gas:
        yield drift(work.test.value, _ROOM_K, system)


def _system(work: LeakWork, system: System) -> str:
    least = _pressure(SYSTEM_LEAST.value, system)
    if work.system is None:
        return f"the greater of {least} and {SYSTEM_HEADS.value:g} x head: give the head"
    by_head = _pressure(SYSTEM_HEADS.value * (work.head_pa or 0), system)
    return f"{_pressure(work.system.pa, system)}: the greater of {least} and {SYSTEM_HEADS.value:g} x head = {by_head}"


def _rule_lines(work: LeakWork, system: System) -> Iterable[Line]:
    label = "the label's pressure" if work.wish.label_pa is None else _pressure(work.wish.label_pa, system)
    static = "33 CFR 183.580, seen in the source"
    yield Line(
        "Static test of a boat's tank", f"air or inert gas up to {label}, then every seam and fitting looked at", static
    )
    yield Line("It does not take", "a falling gauge as the leak check; it names no water and no time to hold", static)
    standpipe = _pressure(head_pressure(STANDPIPE_M.value, WATER.value), system)
    pipe = f"a standpipe of {shown(STANDPIPE_M.value, Kind.HEIGHT, system)} ({standpipe})"
    diesel = f"{_pressure(INTEGRAL_DIESEL.value, system)} or the head in service; {pipe}"
    yield Line("Integral diesel tank of a passenger vessel", diesel, source_of(INTEGRAL_DIESEL))
    craft = f"{source_of(SMALL_CRAFT)}; a text of 1999 has {span(1900, 2100, Kind.PRESSURE, system)}"
    yield Line(
        "Small craft, after the fire test", f"{_pressure(SMALL_CRAFT.value, system)}, not by a falling gauge", craft
    )
    if work.strength:
        after = f"then a leak check at {_pressure(AFTER_FIRE.value, system)} or more"
        yield Line("Type tests by capacity", f"{' and '.join(work.strength)}, fire, {after}", source_of(AFTER_FIRE))
    if "pressure impulse" in work.strength:
        least = shown(impulse_seconds(), Kind.TIME, system)
        yield Line(
            "Pressure impulses", f"{IMPULSES.value:.0f}, {least} at the least", f"{source_of(IMPULSES)}; time computed"
        )


def _energy_lines(work: LeakWork, system: System) -> Iterable[Line]:
    if work.stored is not None:
        yield from _stored_lines(work.stored, "air" if not work.with_gas else work.wish.medium, system)
    if work.wish.volume_m3 is not None and not work.with_gas:
        mass = shown(work.wish.volume_m3 * WATER.value, Kind.MASS, system)
        yield Line("The water weighs", mass, "volume x density; computed")
    if work.panel_n is not None:
        load = f"as the weight of {shown(work.panel_n / GRAVITY, Kind.MASS, system)}"
        yield Line(
            "Push on the panel", f"{shown(work.panel_n, Kind.FORCE, system)}, {load}", "pressure x area; computed"
        )
    limit = (
        f"{shown(BUBBLE_LIMIT.value * STANDARD_PA * 1e-6, Kind.LEAK_RATE, system)}; bubbles tell where, not how much"
    )
    yield Line("Least leak that bubbles show", limit, source_of(BUBBLE_LIMIT))


def _stored_lines(energy: Stored, gas: str, system: System) -> Iterable[Line]:
    lift = f"lifts {shown(PERSON_KG, Kind.MASS, system, 2)} by {shown(energy.lifts_person_m, Kind.HEIGHT, system, 2)}"
    formula = "isentropic expansion, from memory, check it; computed"
    yield Line(f"Stored in {gas}", f"{_energy(energy.isentropic_j, system)}: {lift}", formula)
    brode = "Brode's formula, (p - p0) V / (k - 1), from memory, check it; computed"
    yield Line(f"Stored in {gas}, larger formula", _energy(energy.brode_j, system), brode)
    water = f"{_energy(energy.water_j, system)}: {gas} holds {_about(energy.times_water)} times as much"
    yield Line("Stored in water, filled to the brim", water, "p2 V / 2K, K = 2.2 GPa, from memory, check it; computed")


def _limit_remarks(work: LeakWork, settings: LeakSettings, system: System) -> Iterable[Remark]:
    if work.wish.most_pa is None:
        yield Remark("no_limit", Weight.WARN, "State the most that the tank may see: nothing here knows what it bears.")
    if work.over_most and work.wish.most_pa is not None:
        most = _pressure(work.wish.most_pa, system)
        text = f"The pressure is over the {most} that was stated as the most for this tank."
        yield Remark("over_most", Weight.HOLD, text, "as given; the shop's own")
    if work.over_gas_limit:
        limit = of_setting(settings, "gas_most_kpa")
        text = f"With gas, more than {_pressure(limit.value * 1000, system)}: a tank with flat sides is no pressure vessel."
        yield Remark("over_gas_limit", Weight.HOLD, text, source_of(limit))


def _remarks(work: LeakWork) -> Iterable[Remark]:
    applies = {
        "fuel_and_air": work.wish.medium == "air" and work.wish.contents != "water",
        "gas_chokes": work.with_gas and work.wish.medium != "air",
        "gas_bursts": work.with_gas,
        "water_weighs": not work.with_gas,
        "written_for": True,
        "watching_is_not_looking": not work.wish.looks,
    }
    return (_REMARKS[code] for code, does in applies.items() if does)


def _about(number: float) -> str:
    """Write a large number to two digits, in groups of three."""
    return f"{float(f'{number:.2g}'):,.0f}".replace(",", " ")


def _pressure(pa: float, system: System) -> str:
    return shown(pa, Kind.PRESSURE, system)


def _energy(joule: float, system: System) -> str:
    if system is System.METRIC and joule < _KILOJOULE:
        return f"{joule:.3g} J"
    return shown(joule, Kind.ENERGY, system)


_KILOJOULE = 1000.0


_REMARKS = {
    one.code: one
    for one in (
        Remark(
            "fuel_and_air",
            Weight.WARN,
            "Air under pressure with what is left of fuel can burn: clear the tank first, and take inert gas or water.",
            COMMON,
        ),
        Remark(
            "gas_chokes",
            Weight.WARN,
            "The gas lets nobody breathe: air the room while it comes out, and let nobody put the head into the tank.",
            COMMON,
        ),
        Remark(
            "gas_bursts",
            Weight.WARN,
            "Squeezed gas bursts a tank, water only leaks out of it: fill with water as far as it goes, fit a relief valve "
            "and a gauge at the tank, raise the pressure slowly, stand clear of flat panels.",
            COMMON,
        ),
        Remark(
            "water_weighs",
            Weight.NOTE,
            "Water is heavier than fuel: see that cradle and floor bear it. A trapped bubble of air stores energy like gas.",
            COMMON,
        ),
        Remark(
            "written_for",
            Weight.NOTE,
            "These rules are written for new tanks and fuel systems of boats. A farm or road tank, or a repair, has rules of "
            "its own: ask who governs it.",
            "33 CFR 183 and 46 CFR, scope from memory, check it",
        ),
        Remark(
            "watching_is_not_looking",
            Weight.NOTE,
            "A pressure watched over time is worth logging, but it is not the leak check of the static test.",
            "33 CFR 183.580, seen in the source",
        ),
    )
}
