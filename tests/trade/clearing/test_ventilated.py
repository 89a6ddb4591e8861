"""The gate of a ventilated vessel: oxygen, then flammable vapour, then toxic gas, in every bay."""

from __future__ import annotations

import pytest

from prepcheck.settings import ClearingSettings
from prepcheck.trade.clearing import WITHIN_LIMITS
from prepcheck.trade.entries import Gas, Sensor
from prepcheck.trade.facts import Weight
from tests.trade.clearing.vessel import after, codes, condition, holds, reading, readings, remarks


def test_usual_readings_of_both_bays_hold_nothing() -> None:
    assert holds(readings()) == set()


def test_the_strongest_that_is_said_leaves_the_decision_to_whom_the_law_names() -> None:
    *_, last = remarks(readings())
    assert last.weight is Weight.NOTE
    assert last.text.startswith(
        "Readings within the limits entered, in this condition, at these places, at this time; whoever the law names decides"
    )
    assert "ventilated" in last.text
    assert "front bay, rear bay" in last.text
    assert "09:10 to 09:14; measure again by 09:40" in last.text


def test_with_a_hold_that_is_not_said() -> None:
    assert all(WITHIN_LIMITS not in one.text for one in remarks(readings(oxygen={"value": 19.0})))


def test_what_the_air_holds_comes_before_what_is_to_be_measured_and_entered() -> None:
    said = remarks(readings(oxygen={"value": 19.0, "height_m": 0.1}), now=after(60))
    held = [one.code for one in said if one.weight is Weight.HOLD]
    assert held == ["oxygen_low", "oxygen_few_heights", "reading_aged"]


# 29 CFR 1915.12: at least 19.5 % (seen), below 22 % (from memory; here as the shop's setting). Standards table 4.1.
@pytest.mark.parametrize(
    ("oxygen", "held"),
    [
        (19.4, {"oxygen_low"}),
        (19.5, set()),
        (20.9, set()),
        (21.9, set()),
        (22.0, {"oxygen_high"}),
        (23.4, {"oxygen_high"}),
    ],
)
def test_oxygen_is_held_at_the_limits_of_the_rule(oxygen: float, held: set[str]) -> None:
    assert holds(readings(oxygen={"value": oxygen})) == held


# 29 CFR 1915 Subpart B App. A: 20.8 to 20.9 % is air, above it find the cause. Table 4.2, from memory.
@pytest.mark.parametrize(("oxygen", "warned"), [(20.9, False), (21.0, True), (21.9, True), (22.0, False)])
def test_more_oxygen_than_in_air_asks_for_its_cause(oxygen: float, warned: bool) -> None:
    assert ("oxygen_above_air" in codes(remarks(readings(oxygen={"value": oxygen})), Weight.WARN)) is warned


# (20.9 - 19.5) / 20.9 = 6.7 % of another gas, over the 40,000 ppm of table 4.14 (NIOSH, seen) if it is CO2. Computed.
def test_less_oxygen_than_in_air_tells_how_much_of_another_gas_there_may_be() -> None:
    (warned,) = [one for one in remarks(readings(oxygen={"value": 19.5})) if one.code == "oxygen_below_air"]
    assert "6.7 %" in warned.text


# 20.8 to 20.9 % is air. Table 4.2, from memory.
@pytest.mark.parametrize(("oxygen", "warned"), [(19.4, False), (19.5, True), (20.7, True), (20.8, False)])
def test_less_oxygen_than_in_air_is_warned_of(oxygen: float, warned: bool) -> None:
    assert ("oxygen_below_air" in codes(remarks(readings(oxygen={"value": oxygen})), Weight.WARN)) is warned


# 29 CFR 1915.13: below 10 % LEL (seen). Table 4.4.
@pytest.mark.parametrize(
    ("lel", "held"), [(0.0, set()), (9.9, set()), (10.0, {"vapour_high"}), (250.0, {"vapour_high"})]
)
def test_vapour_is_held_from_a_tenth_of_the_lower_explosive_limit(lel: float, held: set[str]) -> None:
    assert holds(readings(flammable={"value": lel})) == held


# 29 CFR 1915 Subpart B App. A: readings below 10 % still need a cause (seen). Table 4.4.
@pytest.mark.parametrize(("lel", "warned"), [(0.0, False), (0.1, True), (9.9, True), (10.0, False)])
def test_vapour_below_the_limit_still_asks_for_its_cause(lel: float, warned: bool) -> None:
    assert ("vapour_present" in codes(remarks(readings(flammable={"value": lel})), Weight.WARN)) is warned


@pytest.mark.parametrize(("value", "factor", "held"), [(6.0, 2.0, {"vapour_high"}), (10.0, 0.5, {"vapour_high"})])
def test_the_factor_of_a_meter_only_ever_makes_a_reading_count_for_more(
    value: float, factor: float, held: set[str]
) -> None:
    assert holds(readings(flammable={"value": value, "factor": factor})) == held


# The limit is the user's; the sample is invented.
@pytest.mark.parametrize(("ppm", "held"), [(25.0, set()), (25.1, {"toxic_high"})])
def test_toxic_gas_is_held_over_the_limit_entered(ppm: float, held: set[str]) -> None:
    assert holds(readings(toxic={"value": ppm})) == held


@pytest.mark.parametrize(("source", "told"), [("the county's rule", "the county's rule"), ("", "no rule named")])
def test_whose_limit_it_is_stands_beside_it(source: str, told: str) -> None:
    (held,) = [
        one for one in remarks(readings(toxic={"value": 99.0, "limit_source": source})) if one.code == "toxic_high"
    ]
    assert held.source == f"as entered: {told}"


def test_toxic_gas_without_a_limit_holds() -> None:
    assert holds(readings(toxic={"limit": None})) == {"toxic_without_limit"}


@pytest.mark.parametrize("gas", list(Gas))
def test_a_gas_that_nobody_measured_holds(gas: Gas) -> None:
    others = tuple(one for one in Gas if one is not gas)
    assert f"{gas.value}_not_measured" in holds(readings(others))


def test_no_readings_at_all_hold_for_each_gas() -> None:
    assert holds([]) == {"oxygen_not_measured", "flammable_not_measured", "toxic_not_measured"}


# 29 CFR 1915.12, order of tests as corrected by 60 FR 14218 (seen). Table 4.1.
@pytest.mark.parametrize(
    "changes",
    [
        {"oxygen": {"minute": 13}},
        {"flammable": {"minute": 9}},
        {"toxic": {"minute": 11}},
        {"flammable": {"minute": 15}},
    ],
)
def test_a_test_before_the_one_that_comes_first_holds(changes: dict[str, dict[str, float]]) -> None:
    assert holds(readings(**changes)) == {"out_of_order"}


def test_a_meter_that_reads_all_gases_at_once_is_in_order() -> None:
    same = {"minute": 10}
    assert holds(readings(oxygen=same, flammable=same, toxic=same)) == set()


def test_the_order_in_which_readings_are_entered_does_not_matter() -> None:
    made = readings()
    assert remarks(made[::-1]) == remarks(made)


def test_the_order_holds_at_each_place_of_its_own() -> None:
    made = [*readings(), reading(Gas.FLAMMABLE, place="sump")]
    assert holds(made) == {"out_of_order"}


def test_oxygen_measured_again_later_leaves_the_order_as_it_was() -> None:
    assert holds([*readings(), reading(Gas.OXYGEN, minute=20)]) == set()


# API 1604 as copied by a county: baffles trap vapour, sample more than one place (seen). Table 4.28 and section 9.
def test_one_place_does_not_tell_of_a_vessel() -> None:
    one_place = {"place": "front bay"}
    assert holds(readings(oxygen=one_place, flammable=one_place, toxic=one_place)) == {
        "oxygen_few_places", "flammable_few_places",
    }  # fmt: skip


def test_every_bay_between_baffles_is_asked_for() -> None:
    assert holds(readings(), condition(bays=3)) == {"oxygen_few_places", "flammable_few_places"}


def test_two_ways_to_write_a_place_are_one_place() -> None:
    made = readings()
    made += [one.model_copy(update={"place": one.place.upper().replace(" ", "  ")}) for one in made]
    assert holds(made, condition(bays=3)) == {"oxygen_few_places", "flammable_few_places"}


# Petrol vapour lies low, hydrogen gathers high; two heights: common practice, no source.
@pytest.mark.parametrize("height", [0.1, None])
def test_one_height_does_not_tell_of_a_vessel(height: float | None) -> None:
    assert holds(readings(flammable={"height_m": height})) == {"flammable_few_heights"}


# Hydrogen from corroding aluminium exploded with no fuel present (trade press 2013, seen). Table 4.27.
@pytest.mark.parametrize(
    ("sensor", "told", "held"),
    [
        (Sensor.CATALYTIC, None, set()),
        (Sensor.CATALYTIC, False, {"hydrogen_not_looked_for"}),
        (Sensor.INFRARED, None, {"hydrogen_not_looked_for"}),
        (Sensor.INFRARED, True, {"hydrogen_not_looked_for"}),
        (Sensor.PHOTOIONISATION, None, {"hydrogen_not_looked_for"}),
        (Sensor.OTHER, None, {"hydrogen_not_looked_for"}),
        (Sensor.OTHER, True, set()),
    ],
)
def test_a_meter_that_sees_hydrogen_is_asked_for(sensor: Sensor, told: bool | None, held: set[str]) -> None:
    assert holds(readings(flammable={"sensor": sensor, "sees_hydrogen": told})) == held


def test_a_bay_that_only_a_blind_meter_saw_holds_though_another_was_seen() -> None:
    made = readings()
    made[3] = made[3].model_copy(update={"sensor": Sensor.INFRARED})
    assert holds(made) == {"hydrogen_not_looked_for"}


def test_where_hydrogen_is_ruled_out_a_blind_meter_does() -> None:
    assert holds(readings(flammable={"sensor": Sensor.INFRARED}), condition(hydrogen_possible=False)) == set()


# At 19.5 % oxygen up to 6.7 % CO2 may be left (computed), over its 40,000 ppm (NIOSH, seen; table 4.14).
@pytest.mark.parametrize(
    ("purge_gas", "measured", "held"),
    [
        ("CO2", "CO", {"co2_not_measured"}),
        ("dry ice", "CO", {"co2_not_measured"}),
        ("CO2", "CO2", set()),
        ("nitrogen", "CO", set()),
        ("", "CO", set()),
    ],
)
def test_after_a_purge_with_co2_that_is_measured_too(purge_gas: str, measured: str, held: set[str]) -> None:
    assert holds(readings(toxic={"of": measured}), condition(purge_gas=purge_gas)) == held


def test_a_place_measured_again_counts_as_measured_last() -> None:
    made = [*readings(flammable={"value": 40.0})]
    again = [one.model_copy(update={"value": 0.0, "taken_at": one.taken_at.replace(minute=25)}) for one in made[2:4]]
    assert holds(made) == {"vapour_high"}
    assert holds([*made, *again]) == set()


def test_of_two_readings_at_the_same_moment_both_count() -> None:
    assert holds([*readings(), reading(Gas.FLAMMABLE, value=40.0)]) == {"vapour_high"}


def test_a_shop_may_be_stricter_than_the_rule() -> None:
    strict = ClearingSettings(oxygen_least=20.5, flammable_most=5.0)
    assert holds(readings(oxygen={"value": 20.0}, flammable={"value": 5.0}), settings=strict) == {
        "oxygen_low",
        "vapour_high",
    }


@pytest.mark.parametrize("changed", [{"oxygen_least": 18.0}, {"oxygen_most": 23.5}, {"flammable_most": 20.0}])
def test_a_shop_cannot_be_laxer_than_the_rule(changed: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"(greater|less) than or equal"):
        ClearingSettings(**changed)


def test_each_hold_by_a_figure_says_whose_it_is() -> None:
    (held,) = [one for one in remarks(readings(oxygen={"value": 22.0})) if one.weight is Weight.HOLD]
    assert "from memory" in held.source
    assert "23.5" in held.source
    assert "a setting as shipped" in held.source
