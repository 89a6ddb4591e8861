"""The plan of clearing a vessel, in words and in one system of units."""

from __future__ import annotations

from dataclasses import dataclass

from prepcheck.errors import WrongUse
from prepcheck.settings import ClearingSettings
from prepcheck.trade.bounds import bounded
from prepcheck.trade.clearing import limits
from prepcheck.trade.clearing.advice import FIRST, Vessel, hazards, who_certifies
from prepcheck.trade.clearing.gas_lines import gas_lines
from prepcheck.trade.clearing.limits import family
from prepcheck.trade.clearing.planner import GASES, ROOM_TEMPERATURE_K, Method, PurgePlan, purge_plan
from prepcheck.trade.clearing.price import Price
from prepcheck.trade.clearing.purge import mixed_volumes
from prepcheck.trade.clearing.said import amount
from prepcheck.trade.facts import Fact, Mark, Remark, Weight, of_setting
from prepcheck.trade.plan import Line, Plan, given, source_of
from prepcheck.trade.units import Kind, System, shown, span

WATER_KG_M3 = 998.0
"""Of water at 20 C; common practice."""
_LABELS = {
    "replace_or_cold": "First of all",
    "permit": "Permit",
    "fire_watch": "Fire watch",
    "clean_first": "Clean",
    "open_up": "Open up",
    "who_certifies": "Who decides",
    "road_tank_rules": "Road tank",
}
_DECIDES = Remark(
    "who_decides",
    Weight.NOTE,
    "These are figures to plan with. Whoever the law names decides, by readings taken in the vessel.",
)


@dataclass(frozen=True)
class Wish:
    """What is to be cleared, and how; quantities in the inner units of `prepcheck.trade.units`.

    `target` is oxygen in % by volume; None takes the shop's.
    """

    volume_m3: float
    contents: str
    method: Method
    vessel: Vessel = Vessel.OTHER
    temperature_k: float = ROOM_TEMPERATURE_K
    target: float | None = None
    flow_l_min: float | None = None
    price: Price | None = None
    room_m3: float | None = None


def clearing_plan(wish: Wish, settings: ClearingSettings, system: System) -> Plan:
    """Plan the clearing of a vessel.

    Raises
    ------
    WrongUse
        A quantity that cannot be, a target above the shop's, an option that the method has no use for.
    """
    _check(wish)
    if wish.method in GASES:
        lines, remarks = _by_gas(wish, settings, system)
    else:
        lines, remarks = (_by_air(wish, system) if wish.method is Method.VENTILATE else _by_water(wish, system)), ()
    first = tuple(Line(_LABELS[one.code], one.text, one.source) for one in (*FIRST, *who_certifies(wish.vessel)))
    all_lines = (*first, *lines, *_vapour_limit(wish), *_test_again(settings))
    remarks = (*remarks, *hazards(wish.contents, wish.method), _DECIDES)
    return Plan("clearing", _inputs(wish, system), all_lines, remarks)


def _check(wish: Wish) -> None:
    if not wish.contents.strip() or len(wish.contents) > 200:
        raise WrongUse("nobody told what the vessel held", "Tell it in 1 to 200 letters, or say: unknown")
    bounded(wish.volume_m3, "the volume", "m3", least=0.001, most=200.0)
    if wish.method in GASES:
        return
    useless = {"target": wish.target, "price": wish.price, "room": wish.room_m3}
    if wish.method is Method.WATER:
        useless["flow"] = wish.flow_l_min
    named = [name for name, value in useless.items() if value is not None]
    if named:
        raise WrongUse(f"{wish.method.value} has no use for: {', '.join(named)}", "Leave it out")


def _inputs(wish: Wish, system: System) -> tuple[tuple[str, str], ...]:
    return given(
        volume=amount(wish.volume_m3, system),
        contents=wish.contents,
        method=wish.method.value,
        vessel=wish.vessel.value,
        temperature=shown(wish.temperature_k, Kind.TEMPERATURE, system) if wish.method in GASES else None,
        target=None if wish.target is None else f"{wish.target:g} % oxygen",
        price=wish.price.written if wish.price else None,
        flow=None if wish.flow_l_min is None else shown(wish.flow_l_min, Kind.GAS_FLOW, system),
        room=None if wish.room_m3 is None else shown(wish.room_m3, Kind.VOLUME, system),
    )


def _by_gas(wish: Wish, settings: ClearingSettings, system: System) -> tuple[tuple[Line, ...], tuple[Remark, ...]]:
    plan = purge_plan(
        wish.volume_m3, wish.method, _target(wish, settings), of=family(wish.contents),
        temperature_k=wish.temperature_k, flow_l_min=wish.flow_l_min, price=wish.price, room_m3=wish.room_m3,
    )  # fmt: skip
    return gas_lines(plan, wish.temperature_k, wish.price, system), (*_rule_remarks(plan), *_room_remarks(plan))


def _target(wish: Wish, settings: ClearingSettings) -> Fact:
    shop = of_setting(settings, "oxygen_target")
    if wish.target is None:
        return shop
    if not 0 < wish.target <= shop.value:
        raise WrongUse(
            f"the target must be over 0 and at most the shop's {shop.value:g} % oxygen", "Give it or a lower one",
            f"{wish.target:g} %",
        )  # fmt: skip
    return Fact(wish.target, limits.PERCENT, "as asked for", Mark.SHOP)


def _rule_remarks(plan: PurgePlan) -> tuple[Remark, ...]:
    if plan.rule is None or plan.rule.oxygen_mixed < plan.wanted.target.value:
        return ()
    text = (
        f"The rule of thumb leaves {plan.rule.oxygen_mixed:.3g} % oxygen if well mixed, not below the target of"
        f" {plan.wanted.target.value:g} %: take what the target takes."
    )
    return (Remark("rule_short_of_target", Weight.WARN, text, source_of(limits.DRY_ICE_RULE)),)


def _room_remarks(plan: PurgePlan) -> tuple[Remark, ...]:
    if plan.room is None:
        text = "Tell the room's volume to see what the gas makes of its air."
        return (Remark("room_not_told", Weight.NOTE, text),)
    reached = [str(fact) for fact in plan.room.reached]
    remarks = []
    if reached:
        text = f"In this room, not aired, the gas reaches {'; '.join(reached)}."
        remarks.append(Remark("room_over_limit", Weight.WARN, text))
    if plan.room.oxygen < limits.LEAST_OXYGEN.value:
        text = f"In this room, not aired, {plan.room.oxygen:.3g} % oxygen is left to breathe."
        remarks.append(Remark("room_low_oxygen", Weight.WARN, text, source_of(limits.LEAST_OXYGEN)))
    return tuple(remarks)


def _by_air(wish: Wish, system: System) -> tuple[Line, ...]:
    lel = limits.LEL.get(family(wish.contents), limits.LEL[limits.Family.DIESEL])
    clear = mixed_volumes(100.0, lel.value / 10)
    dilution = "100 % vapour, well mixed, no liquid left; computed"
    lines = [
        Line("Air to 1 % vapour", _air(mixed_volumes(100.0, 1.0), wish, system), dilution),
        Line("Air to 10 % LEL", _air(clear, wish, system), f"{dilution} from {source_of(lel)}"),
        Line("Assumes", "No liquid, no residue, no dead corner: each of them makes vapour again. Only readings tell.",
             Mark.COMPUTED.value),
        Line("Air pressure", f"at most {shown(limits.AIR_PRESSURE_PA, Kind.PRESSURE, system)}",
             source_of(limits.AIR_PRESSURE_MOST)),
    ]  # fmt: skip
    return tuple(lines)


def _air(volumes: float, wish: Wish, system: System) -> str:
    air_m3 = volumes * wish.volume_m3
    time = "" if wish.flow_l_min is None else f", {shown(air_m3 * 60_000 / wish.flow_l_min, Kind.TIME, system)}"
    return f"{volumes:.3g} vessel volumes, {amount(air_m3, system)}{time}"


def _by_water(wish: Wish, system: System) -> tuple[Line, ...]:
    least, most = limits.WATER_GAP_LEAST, limits.WATER_GAP_MOST
    mass = shown(wish.volume_m3 * WATER_KG_M3, Kind.MASS, system)
    return (
        Line("Water up to", f"{span(least.value, most.value, Kind.LENGTH, system)} below the weld", source_of(most)),
        Line("Weight of water", f"up to {mass}, on whatever bears the vessel", f"at 20 C; {Mark.COMMON.value}"
             if system is System.METRIC else f"at 68 F; {Mark.COMMON.value}"),
    )  # fmt: skip


def _vapour_limit(wish: Wish) -> tuple[Line, ...]:
    lel = limits.LEL.get(family(wish.contents))
    if lel is None:
        return ()
    return (Line("10 % LEL is", f"{lel.value * 1000:.0f} ppm of {family(wish.contents).value} vapour", source_of(lel)),)


def _test_again(settings: ClearingSettings) -> tuple[Line, ...]:
    age = of_setting(settings, "reading_age_min")
    return (Line("Measure again", f"every {age.value:g} min, and after every break", source_of(age)),)
