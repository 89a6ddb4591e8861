"""The plan of clearing a vessel, in words and in one system of units."""

from __future__ import annotations

import re

import pytest

from prepcheck.errors import WrongUse
from prepcheck.settings import ClearingSettings
from prepcheck.trade.clearing import Method, Price, Vessel, Wish, clearing_plan
from prepcheck.trade.clearing.planner import GASES
from prepcheck.trade.plan import Plan, as_entry, texts
from prepcheck.trade.units import GALLON_M3, System

SETTINGS = ClearingSettings()
METRIC = re.compile(r"\d ?(L|m3|kg|kPa|mm|m|C|mg/m3|L/min)\b")
US = re.compile(r"\d ?(gal|ft3|lb|psi|psig|in|ft|F|cfh)\b")


def plan(method: Method = Method.DRY_ICE, system: System = System.METRIC, **changes) -> Plan:
    wish = {"volume_m3": 150 * GALLON_M3, "contents": "diesel", "method": method, **changes}
    return clearing_plan(Wish(**wish), changes.pop("settings", SETTINGS), system)


def line(made: Plan, label: str) -> str:
    (value,) = [one.value for one in made.lines if one.label == label]
    return value


@pytest.mark.parametrize("method", list(Method))
def test_the_first_line_asks_for_another_way(method: Method) -> None:
    assert plan(method).lines[0].value == "Replace it, or repair it cold, if that will do."


@pytest.mark.parametrize("method", list(Method))
def test_the_last_remark_says_who_decides(method: Method) -> None:
    assert "Whoever the law names decides" in plan(method).remarks[-1].text


@pytest.mark.parametrize("method", list(Method))
def test_nothing_is_called_safe(method: Method) -> None:
    assert [text for text in texts(plan(method)) if re.search(r"\bsafe", text, re.IGNORECASE)] == []


@pytest.mark.parametrize("method", list(Method))
@pytest.mark.parametrize(("system", "foreign"), [(System.METRIC, US), (System.US, METRIC)])
def test_units_of_one_system_are_shown_alone(method: Method, system: System, foreign: re.Pattern[str]) -> None:
    extra = {"room_m3": 60.0} if method in GASES else {}
    made = plan(method, system, **extra)
    said = [value for _, value in made.inputs] + [one.value for one in made.lines] + [one.text for one in made.remarks]
    assert [text for text in said if foreign.search(text)] == []


@pytest.mark.parametrize("method", list(Method))
def test_every_line_has_a_source(method: Method) -> None:
    assert [one.label for one in plan(method).lines if not one.source] == []


# 150 gal take 2.25 lb by the rule of thumb (table 4.9, seen); at 20 C 0.982 volumes leave 7.83 % if well mixed
# (table 4.10); 7.82 % from 0.9824 volumes, before rounding.
def test_the_rule_of_thumb_in_the_users_units() -> None:
    told = line(plan(system=System.US), "Dry ice by rule of thumb")
    assert told.startswith("2.25 lb, crushed and spread")
    assert "0.982 vessel volumes, 7.82 % oxygen left" in told


# 8.76 ft3/lb, 547 L/kg at 20 C (table 4.11, computed).
@pytest.mark.parametrize(
    ("system", "label", "value"), [(System.US, "Gas from 1 lb", "8.76 ft3"), (System.METRIC, "Gas from 1 kg", "547 L")]
)
def test_gas_from_dry_ice_in_the_users_units(system: System, label: str, value: str) -> None:
    assert line(plan(system=system), label).startswith(value)


# The vent stands at least 12 ft above ground (Maine App. J, seen). Table 4.29.
@pytest.mark.parametrize(("system", "height"), [(System.US, "12 ft"), (System.METRIC, "3.7 m")])
def test_the_vents_height(system: System, height: str) -> None:
    assert height in line(plan(system=system), "Vent")


# Dry ice is at -78.5 C, -109.3 F (seen). Table 4.12.
@pytest.mark.parametrize(("system", "told"), [(System.US, "-109 F"), (System.METRIC, "-78.5 C")])
def test_how_cold_dry_ice_is(system: System, told: str) -> None:
    assert line(plan(system=system), "Dry ice is at").startswith(told)


# CO2 does not lift petrol vapour (table 4.34, computed): said beside the model that might suggest it.
@pytest.mark.parametrize(("method", "said"), [(Method.CO2, True), (Method.DRY_ICE, True), (Method.NITROGEN, False)])
def test_the_displacement_model_says_what_it_does_not_hold_for(method: Method, said: bool) -> None:
    assert ("does not lift petrol vapour" in line(plan(method), "Unmixed assumes")) is said


def test_the_well_mixed_model_says_what_it_assumes() -> None:
    assert "A corner behind a baffle lags behind" in line(plan(), "Well mixed assumes")


def test_cost_is_told_in_the_users_currency() -> None:
    assert line(plan(price=Price(4.0, "kg", "EUR")), "Cost") == "3.99 EUR"


def test_without_a_price_there_is_no_line_of_cost() -> None:
    assert "Cost" not in [one.label for one in plan().lines]


def test_in_the_cold_the_rule_of_thumb_is_said_to_miss_the_target() -> None:
    assert "rule_short_of_target" in [one.code for one in plan(temperature_k=273.15).remarks]
    assert "rule_short_of_target" not in [one.code for one in plan().remarks]


def test_limits_that_the_gas_reaches_in_the_room_are_warned_of() -> None:
    said = {one.code: one.text for one in plan(room_m3=10.0).remarks}
    assert all(limit in said["room_over_limit"] for limit in ("5000 ppm", "30000 ppm", "40000 ppm"))
    assert "room_low_oxygen" not in said
    assert "room_low_oxygen" in [one.code for one in plan(Method.NITROGEN, room_m3=5.0).remarks]


# 10 % of 1.2 % is 1200 ppm; of 1.4 %, as other sources have it, 1400 ppm (table 4.25).
def test_a_tenth_of_the_explosive_limit_in_ppm() -> None:
    assert line(plan(contents="petrol"), "10 % LEL is") == "1200 ppm of petrol vapour"


# 100 to 1 % takes 4.605 volumes (table 4.23, computed): 600 L at 300 L/min in 9.2 min.
def test_airing_in_volumes_and_time() -> None:
    told = line(plan(Method.VENTILATE, volume_m3=0.6, flow_l_min=300.0), "Air to 1 % vapour")
    assert told == "4.61 vessel volumes, 2763 L, 9.21 min"


# Air at no more than 5 psig (API 1604, seen), water to 25 to 30 mm (a gas supplier's notes, seen). Tables 4.28, 4.8.
@pytest.mark.parametrize(
    ("method", "system", "label", "told"),
    [
        (Method.VENTILATE, System.US, "Air pressure", "at most 5.00 psi"),
        (Method.VENTILATE, System.METRIC, "Air pressure", "at most 34.5 kPa"),
        (Method.WATER, System.METRIC, "Water up to", "25.0 to 30.0 mm below the weld"),
    ],
)
def test_limits_of_the_other_methods(method: Method, system: System, label: str, told: str) -> None:
    assert line(plan(method, system), label) == told


@pytest.mark.parametrize(
    ("m3", "system", "told"),
    [
        (0.6, System.METRIC, "600 L"),
        (0.6, System.US, "159 gal"),
        (20.0, System.METRIC, "20.0 m3"),
        (20.0, System.US, "706 ft3"),
    ],
)
def test_a_volume_is_told_in_the_size_that_people_think_of_it_in(m3: float, system: System, told: str) -> None:
    assert dict(plan(Method.WATER, system, volume_m3=m3).inputs)["volume"] == told


def test_time_at_a_flow_of_gas_is_told() -> None:
    assert line(plan(Method.NITROGEN, flow_l_min=20.0), "Time at this flow") == "27.3 min"


def test_a_plan_can_be_logged_word_for_word() -> None:
    made = plan(vessel=Vessel.ROAD_TANK, contents="x" * 200, price=Price(1.0, "kg"), room_m3=1.0)
    assert len(as_entry(made).lines) == len(made.lines)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"contents": " "}, "what the vessel held"),
        ({"contents": "x" * 201}, "what the vessel held"),
        ({"target": 8.1}, "at most the shop's 8 %"),
        ({"target": 0.0}, "over 0"),
        ({"target": -3.0}, "over 0"),
        ({"target": float("nan")}, "over 0"),
        ({"volume_m3": -1.0}, "volume is out of range"),
        ({"method": Method.WATER, "volume_m3": 0.0}, "volume is out of range"),
        ({"method": Method.WATER, "flow_l_min": 5.0}, "water has no use for: flow"),
        ({"method": Method.VENTILATE, "target": 5.0, "room_m3": 9.0}, "ventilate has no use for: target, room"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, object], says: str) -> None:
    with pytest.raises(WrongUse, match=says):
        plan(**changes)
