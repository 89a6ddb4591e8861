"""What each condition of a vessel asks of its readings."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from prepcheck.settings import ClearingSettings
from prepcheck.trade.clearing import limits
from prepcheck.trade.clearing.evidence import Evidence, where
from prepcheck.trade.clearing.limits import ORDER_OF_TESTS, clause
from prepcheck.trade.clearing.meters import sees_hydrogen
from prepcheck.trade.entries import Gas, GasReading, State, VesselCondition
from prepcheck.trade.facts import Fact, Mark, Remark, Weight, of_setting
from prepcheck.trade.plan import source_of
from prepcheck.trade.units import Kind, System, shown, span

NEARLY_AIR = 20.8
"""% by volume; 20.8 to 20.9 is normal air (29 CFR 1915 Subpart B App. A, from memory)."""
_STILL_VAPOUR = (
    "The limit is one for entry and cold work, for hot work no figure was seen; any vapour comes from somewhere: find"
    " the cause"
)
Check = Callable[[VesselCondition, Evidence, ClearingSettings], tuple[Remark, ...]]
_ORDER = ((Gas.OXYGEN, Gas.FLAMMABLE), (Gas.FLAMMABLE, Gas.TOXIC))
_VAPOUR_HAS_A_CAUSE = clause("29 CFR 1915 Subpart B App. A", Mark.SEEN)
_CO2_NAMES = ("co2", "carbon dioxide", "dry ice")
_VOIDS = clause("trade press (2013), forum report", Mark.SEEN)


def ventilated(condition: VesselCondition, evidence: Evidence, settings: ClearingSettings) -> tuple[Remark, ...]:
    """Air that can be breathed and does not burn: oxygen, then flammable, then toxic (29 CFR 1915.12 to 14)."""
    spread = [_spread(gas, condition, evidence, settings) for gas in (Gas.OXYGEN, Gas.FLAMMABLE)]
    return (
        *_air(evidence, settings),
        *_vapour(evidence, settings),
        *_toxic(evidence),
        *_missing(evidence, tuple(Gas)),
        *_out_of_order(evidence),
        *(remark for remarks in spread for remark in remarks),
        *_hydrogen_seen(condition, evidence),
        *_co2_left(condition, evidence),
    )


def inerted(condition: VesselCondition, evidence: Evidence, settings: ClearingSettings) -> tuple[Remark, ...]:
    """Too little oxygen to burn, and to breathe: nobody enters, and the room is aired."""
    target = of_setting(settings, "oxygen_target")
    over = [one for one in evidence.of(Gas.OXYGEN) if one.value >= target.value]
    return (
        *_missing(evidence, (Gas.OXYGEN,)),
        *evidence.by_figure(target, "oxygen_over_target", f"The inerted vessel must come below {target.value:g} %", over),
        *_hydrogen_under_inert(condition, evidence, target),
        *_spread(Gas.OXYGEN, condition, evidence, settings),
        *_room(condition),
        *_vapour_under_inert(evidence, settings),
        Remark("no_entry", Weight.WARN, "Nobody enters or puts the head into an inerted vessel, at no time.",
               ORDER_OF_TESTS),
        Remark("targets_disagree", Weight.NOTE, _targets(condition, target)),
    )  # fmt: skip


def water_filled(condition: VesselCondition, evidence: Evidence, settings: ClearingSettings) -> tuple[Remark, ...]:
    """Water in place of vapour, up to close below the weld, and the rest of the space open and measured."""
    return (*_gap(condition, settings, evidence.system), *_vapour(evidence, settings), *_space_above(evidence))


CHECKS: dict[State, Check] = {
    State.VENTILATED: ventilated,
    State.INERTED: inerted,
    State.WATER_FILLED: water_filled,
}


def _missing(evidence: Evidence, gases: Sequence[Gas]) -> tuple[Remark, ...]:
    return tuple(
        Remark(
            f"{gas.value}_not_measured", Weight.HOLD, f"No reading of {_NAMES[gas]} in this condition.", ORDER_OF_TESTS
        )
        for gas in gases
        if not evidence.of(gas)
    )


_NAMES = {Gas.OXYGEN: "oxygen", Gas.FLAMMABLE: "flammable vapour", Gas.TOXIC: "toxic gas"}


def _out_of_order(evidence: Evidence) -> tuple[Remark, ...]:
    late = [one for first, then in _ORDER for one in evidence.of(then) if not _came_before(one, first, evidence)]
    text = "At each place measure oxygen, then flammable, then toxic; the test before is missing or came later"
    return evidence.about(late, Weight.HOLD, "out_of_order", text, ORDER_OF_TESTS)


def _came_before(reading: GasReading, gas: Gas, evidence: Evidence) -> bool:
    same_place = [one for one in evidence.taken if one.gas is gas and where(one) == where(reading)]
    return any(one.taken_at <= reading.taken_at for one in same_place)


def _air(evidence: Evidence, settings: ClearingSettings) -> tuple[Remark, ...]:
    least, most = of_setting(settings, "oxygen_least"), of_setting(settings, "oxygen_most")
    normal = limits.NORMAL_AIR
    oxygen = evidence.of(Gas.OXYGEN)
    poor = [one for one in oxygen if least.value <= one.value < NEARLY_AIR]
    rich = [one for one in oxygen if normal.value < one.value < most.value]
    return (
        *evidence.by_figure(least, "oxygen_low", f"Oxygen must be at least {least.value:g} %", _below(oxygen, least)),
        *evidence.by_figure(most, "oxygen_high", f"Oxygen must stay below {most.value:g} %", _reaching(oxygen, most)),
        *evidence.about(poor, Weight.WARN, "oxygen_below_air", _in_its_place(poor), source_of(limits.CO2_DANGER)),
        *evidence.about(rich, Weight.WARN, "oxygen_above_air", f"More than air's {normal.value:g} %; find the cause first",
               source_of(normal)),
    )  # fmt: skip


def _in_its_place(readings: Sequence[GasReading]) -> str:
    lowest = min((one.value for one in readings), default=limits.NORMAL_AIR.value)
    share = 1 - lowest / limits.NORMAL_AIR.value
    return (
        f"Less than in air: up to {100 * share:.2g} % of another gas is there. If that is CO2, 4 % is already immediately"
        " dangerous; measure it"
    )


def _below(readings: Iterable[GasReading], limit: Fact) -> list[GasReading]:
    return [one for one in readings if one.value < limit.value]


def _reaching(readings: Iterable[GasReading], limit: Fact) -> list[GasReading]:
    return [one for one in readings if _careful(one) >= limit.value]


def _careful(reading: GasReading) -> float:
    """Return the larger of what the meter shows and of that times its factor: it may have been applied already."""
    return reading.value if reading.gas is Gas.OXYGEN else max(reading.value, reading.value * reading.factor)


def _vapour(evidence: Evidence, settings: ClearingSettings) -> tuple[Remark, ...]:
    most = of_setting(settings, "flammable_most")
    flammable = evidence.of(Gas.FLAMMABLE)
    some = [one for one in flammable if 0 < _careful(one) < most.value]
    return (
        *evidence.by_figure(most, "vapour_high", f"Vapour, with the meter's factor, must stay below {most.value:g} % LEL",
                   _reaching(flammable, most)),
        *evidence.about(some, Weight.WARN, "vapour_present", _STILL_VAPOUR,
               _VAPOUR_HAS_A_CAUSE),
    )  # fmt: skip


def _toxic(evidence: Evidence) -> tuple[Remark, ...]:
    toxic = evidence.of(Gas.TOXIC)
    unlimited = [one for one in toxic if one.limit is None]
    over = [one for one in toxic if one.limit is not None and _careful(one) > one.limit]
    rules = ", ".join(sorted({one.limit_source or "no rule named" for one in over}))
    return (
        *evidence.about(
            unlimited, Weight.HOLD, "toxic_without_limit", "Enter the limit that applies, and the rule it is from"
        ),
        *evidence.about(over, Weight.HOLD, "toxic_high", "Over the limit entered", f"as entered: {rules}"),
    )


def _spread(gas: Gas, condition: VesselCondition, evidence: Evidence, settings: ClearingSettings) -> tuple[Remark, ...]:
    """One place does not tell of a baffled vessel, nor one height of a gas that lies low or rises."""
    readings = evidence.of(gas)
    if not readings:
        return ()
    places = {where(one) for one in readings if where(one)}
    heights = {one.height_m for one in readings if one.height_m is not None}
    asked = max(int(settings.least_places), condition.bays)
    return (
        *_few(gas, len(places), asked, "places", of_setting(settings, "least_places")),
        *_few(gas, len(heights), settings.least_heights, "heights", of_setting(settings, "least_heights")),
    )


def _few(gas: Gas, found: int, asked: int, what: str, fact: Fact) -> tuple[Remark, ...]:
    if found >= asked:
        return ()
    text = f"Baffles trap vapour: {_NAMES[gas]} measured at {_count(found, what)}, at least {asked} asked for."
    return (Remark(f"{gas.value}_few_{what}", Weight.HOLD, text, source_of(fact)),)


def _count(found: int, what: str) -> str:
    return f"1 named {what.removesuffix('s')}" if found == 1 else f"{found} named {what}"


def _hydrogen_seen(condition: VesselCondition, evidence: Evidence) -> tuple[Remark, ...]:
    flammable = evidence.of(Gas.FLAMMABLE)
    seen = {where(one) for one in flammable if sees_hydrogen(one, evidence)}
    unseen = [one for one in flammable if where(one) not in seen and condition.hydrogen_possible]
    text = "Corroding aluminium makes hydrogen: open every void, and measure there with a meter that sees it"
    return evidence.by_figure(limits.HYDROGEN_LEL, "hydrogen_not_looked_for", text, unseen)


def _co2_left(condition: VesselCondition, evidence: Evidence) -> tuple[Remark, ...]:
    """Enough oxygen can still go with too much CO2: at 19.5 % up to 6.7 % of it may be left of a purge."""
    measured = any(one.of.casefold() in _CO2_NAMES for one in evidence.of(Gas.TOXIC))
    if measured or not _by_co2(condition):
        return ()
    text = "It was purged with CO2: measure that too, as a toxic gas; oxygen alone does not tell that it is gone."
    return (Remark("co2_not_measured", Weight.HOLD, text, source_of(limits.CO2_DANGER)),)


def _by_co2(condition: VesselCondition) -> bool:
    return any(name in condition.purge_gas.casefold() for name in _CO2_NAMES)


def _hydrogen_under_inert(condition: VesselCondition, evidence: Evidence, target: Fact) -> tuple[Remark, ...]:
    if not condition.hydrogen_possible:
        return ()
    burns = limits.HYDROGEN_OXYGEN
    enough = [one for one in evidence.of(Gas.OXYGEN) if burns.value <= one.value < target.value]
    text = f"Below the target, yet hydrogen burns from {burns.value:g} % oxygen on; rule it out or go lower"
    closed = "Hydrogen in a closed void of corroding aluminium is not reached by any inerting; open every void first."
    return (
        *evidence.by_figure(burns, "hydrogen_burns", text, enough),
        Remark("hydrogen_in_voids", Weight.WARN, closed, _VOIDS),
    )


def _room(condition: VesselCondition) -> tuple[Remark, ...]:
    gas = () if condition.purge_gas.strip() else (
        Remark("purge_gas_not_told", Weight.WARN, "Tell the purge gas: it decides where it gathers in the room."),
    )  # fmt: skip
    if condition.room_ventilated:
        return gas
    text = "Air the room and say so: the purge gas comes out and takes the place of its air."
    source = source_of(limits.CO2_DANGER) if _by_co2(condition) else ORDER_OF_TESTS
    return (Remark("room_not_aired", Weight.HOLD, text, source), *gas)


def _vapour_under_inert(evidence: Evidence, settings: ClearingSettings) -> tuple[Remark, ...]:
    most = of_setting(settings, "flammable_most")
    text = "Vapour is still there and burns as soon as air comes in"
    return evidence.about(_reaching(evidence.of(Gas.FLAMMABLE), most), Weight.WARN, "vapour_under_inert", text)


def _targets(condition: VesselCondition, target: Fact) -> str:
    all_ = limits.targets(limits.family(condition.previous_contents), _by_co2(condition), target)
    return f"Targets disagree: {'; '.join(map(str, all_))}."


def _gap(condition: VesselCondition, settings: ClearingSettings, system: System) -> tuple[Remark, ...]:
    gap, most = condition.water_gap_mm, of_setting(settings, "water_gap_most_mm")
    if gap is None:
        return (Remark("water_gap_not_told", Weight.HOLD, "Measure how far below the weld the water stands."),)
    said, limit = shown(gap, Kind.LENGTH, system), shown(most.value, Kind.LENGTH, system)
    if gap < 0:
        return (Remark("water_over_weld", Weight.HOLD, f"A gap of {said} puts the weld under water; check it."),)
    if gap > most.value:
        text = f"The water stands {said} below the weld, over {limit}; fill up."
        return (Remark("water_gap_wide", Weight.HOLD, text, source_of(most)),)
    if gap < limits.WATER_GAP_LEAST.value:
        text = f"The water stands {said} below the weld; {_published_gap(system)} are published."
        return (Remark("water_gap_narrow", Weight.NOTE, text, source_of(limits.WATER_GAP_LEAST)),)
    return ()


def _published_gap(system: System) -> str:
    return span(limits.WATER_GAP_LEAST.value, limits.WATER_GAP_MOST.value, Kind.LENGTH, system)


def _space_above(evidence: Evidence) -> tuple[Remark, ...]:
    if evidence.of(Gas.FLAMMABLE):
        return ()
    text = "Nobody measured the space above the water; leave it open to air and measure it."
    return (Remark("space_above_water", Weight.WARN, text),)
