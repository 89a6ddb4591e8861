"""What to think of: first lines, who certifies, hazards."""

from __future__ import annotations

import re

import pytest

from prepcheck.trade.clearing import Method, Vessel
from prepcheck.trade.clearing.advice import FIRST, hazards, who_certifies
from prepcheck.trade.clearing.planner import GASES
from prepcheck.trade.facts import Mark, Remark

EVERY = [(vessel, method) for vessel in Vessel for method in Method]


def advice(contents: str, vessel: Vessel, method: Method) -> tuple[Remark, ...]:
    return (*FIRST, *who_certifies(vessel), *hazards(contents, method))


def texts(
    contents: str = "diesel", vessel: Vessel = Vessel.FARM_TANK, method: Method = Method.DRY_ICE
) -> dict[str, str]:
    return {one.code: one.text for one in advice(contents, vessel, method)}


# HSE INDG314 rev1: first replace, or repair cold; permit (seen). Table 4.32.
@pytest.mark.parametrize(("vessel", "method"), EVERY)
def test_the_first_lines_come_first(vessel: Vessel, method: Method) -> None:
    first = [one.code for one in advice("diesel", vessel, method)][:3]
    assert first == ["replace_or_cold", "permit", "fire_watch"]


# NIOSH pocket guide: aluminium dust explodes in CO2 (seen). Table 4.15; hydrogen, table 4.27; others as in the module.
@pytest.mark.parametrize(("vessel", "method"), EVERY)
def test_the_hard_warnings_stand_with_every_method(vessel: Vessel, method: Method) -> None:
    assert {
        "aluminium_dust", "hydrogen_in_voids", "smell", "baffles", "teaspoon", "chlorinated_solvent", "chromate_primer",
        "shared_grinder",
    } <= set(texts(vessel=vessel, method=method))  # fmt: skip


def test_grinding_in_a_purged_vessel_is_ruled_out_in_words() -> None:
    assert "explodes in CO2, and in air: do not grind in a purged vessel" in texts()["aluminium_dust"]


@pytest.mark.parametrize(
    ("method", "codes"),
    [
        (Method.DRY_ICE, {"dry_ice_is_cold_gas", "frostbite", "never_sealed", "no_entry", "no_lift"}),
        (Method.CO2, {"static", "never_sealed", "no_entry", "no_lift"}),
        (Method.NITROGEN, {"never_sealed", "no_entry", "inert_room"}),
        (Method.ARGON, {"never_sealed", "no_entry", "argon_targets"}),
        (Method.VENTILATE, {"through_the_range", "bonded_blower"}),
        (Method.WATER, {"weight_of_water", "vent_above_water"}),
    ],
)
def test_each_method_has_its_own_hazards(method: Method, codes: set[str]) -> None:
    assert codes <= set(texts(method=method))


def test_only_an_inerted_vessel_rules_out_entry() -> None:
    assert {method for method in Method if "no_entry" in texts(method=method)} == set(GASES)


@pytest.mark.parametrize(("contents", "said"), [("diesel", True), ("heating oil", True), ("petrol", False)])
def test_diesel_is_said_to_be_no_exception(contents: str, said: bool) -> None:
    assert ("diesel_vapour" in texts(contents)) is said


# 29 CFR 1915.14(a): Marine Chemist, or a person authorised by the Coast Guard (seen). Table 4.5.
def test_a_boats_tank_in_a_shipyard_has_its_own_rule() -> None:
    told = texts(vessel=Vessel.BOAT_TANK)["who_certifies"]
    assert "Marine Chemist" in told
    assert "Coast Guard" in told


# 29 CFR 1910.252(a)(3), text seen as 8 CCR 5166; 49 CFR 180.413 from memory. Tables 4.6, 4.37.
@pytest.mark.parametrize("vessel", [Vessel.FARM_TANK, Vessel.ROAD_TANK, Vessel.DRUM])
def test_other_vessels_fall_under_general_rules_and_the_user_names_theirs(vessel: Vessel) -> None:
    assert "name the rule" in texts(vessel=vessel)["who_certifies"]
    assert ("road_tank_rules" in texts(vessel=vessel)) == (vessel is Vessel.ROAD_TANK)


def test_a_vessel_of_unknown_kind_is_told_all_rules() -> None:
    said = [one.text for one in advice("unknown", Vessel.OTHER, Method.WATER) if one.code == "who_certifies"]
    assert len(said) == 2


@pytest.mark.parametrize(("vessel", "method"), EVERY)
def test_every_line_says_how_far_it_can_be_trusted(vessel: Vessel, method: Method) -> None:
    marks = tuple(mark.value for mark in Mark)
    assert [one.code for one in advice("diesel", vessel, method) if not one.source.endswith(marks)] == []


@pytest.mark.parametrize(("vessel", "method"), EVERY)
def test_nothing_is_called_safe(vessel: Vessel, method: Method) -> None:
    said = " ".join(one.text for one in advice("diesel", vessel, method))
    assert re.search(r"\bsafe|\bharmless|\bno danger|may be welded", said, re.IGNORECASE) is None
