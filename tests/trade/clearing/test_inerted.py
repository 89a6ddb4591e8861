"""The gate of an inerted vessel: too little oxygen to burn and to breathe, nobody enters, the room is aired."""

from __future__ import annotations

from datetime import timedelta

import pytest

from prepcheck.settings import ClearingSettings
from prepcheck.trade.entries import Gas, Sensor
from prepcheck.trade.facts import Weight
from tests.trade.clearing.vessel import codes, holds, inerted, readings, remarks


def low(oxygen: float, **changes: object) -> list:
    """Oxygen alone, at both places."""
    return readings((Gas.OXYGEN,), oxygen={"value": oxygen, **changes})


# IMO inert gas text: 8 % (seen), kept as the shop's setting. Table 4.20.
@pytest.mark.parametrize(
    ("oxygen", "held"), [(7.9, set()), (8.0, {"oxygen_over_target"}), (20.9, {"oxygen_over_target"})]
)
def test_oxygen_must_come_below_the_target(oxygen: float, held: set[str]) -> None:
    assert holds(low(oxygen), inerted()) == held


def test_a_shop_may_aim_lower_and_never_higher() -> None:
    assert holds(low(7.0), inerted(), settings=ClearingSettings(oxygen_target=6.0)) == {"oxygen_over_target"}
    with pytest.raises(ValueError, match="less than or equal to 8"):
        ClearingSettings(oxygen_target=10.0)


# Hydrogen: limiting oxygen 5 % in nitrogen (NFPA tube data, seen) x 0.85 (TIA 1211, seen) = 4.25 %. Tables 4.17, 4.19.
@pytest.mark.parametrize(
    ("oxygen", "held"),
    [(4.2, set()), (4.25, {"hydrogen_burns"}), (7.9, {"hydrogen_burns"}), (8.0, {"oxygen_over_target"})],
)
def test_where_hydrogen_may_be_no_usual_target_holds(oxygen: float, held: set[str]) -> None:
    assert holds(low(oxygen), inerted(hydrogen_possible=True)) == held


def test_hydrogen_in_a_closed_void_is_warned_of_at_any_oxygen() -> None:
    assert "hydrogen_in_voids" in codes(remarks(low(1.0), inerted(hydrogen_possible=True)), Weight.WARN)


# No entry is ever offered for an inerted space: 29 CFR 1915.12. Table 4.35.
@pytest.mark.parametrize("oxygen", [0.5, 7.9, 20.9])
def test_entry_is_ruled_out_whatever_was_read(oxygen: float) -> None:
    assert "no_entry" in codes(remarks(low(oxygen), inerted()), Weight.WARN)


def test_a_room_that_nobody_airs_holds() -> None:
    assert holds(low(5.0), inerted(room_ventilated=False)) == {"room_not_aired"}


@pytest.mark.parametrize(("gas", "limited"), [("dry ice", True), ("nitrogen", False)])
def test_a_room_that_nobody_airs_is_told_co2s_limit_where_that_is_the_gas(gas: str, limited: bool) -> None:
    (held,) = [
        one for one in remarks(low(2.0), inerted(room_ventilated=False, purge_gas=gas)) if one.weight is Weight.HOLD
    ]
    assert ("NIOSH" in held.source) is limited


def test_a_gas_that_nobody_names_is_warned_of() -> None:
    assert "purge_gas_not_told" in codes(remarks(low(5.0), inerted(purge_gas="")), Weight.WARN)


def test_oxygen_that_nobody_measured_holds() -> None:
    assert holds([], inerted()) == {"oxygen_not_measured"}


def test_one_place_does_not_tell_of_an_inerted_vessel() -> None:
    assert holds(low(5.0, place="front bay"), inerted()) == {"oxygen_few_places"}


# Table 4.20: the targets in use disagree, 6.0 to 8 % for petrol; each is shown with its mark.
def test_all_targets_are_told_with_their_marks() -> None:
    told = {one.code: one.text for one in remarks(low(5.0), inerted(previous_contents="petrol"))}["targets_disagree"]
    assert "8 % by volume (IMO inert gas text, for ships; seen in the source)" in told
    assert "6 % by volume (8 % or half of what burning needs, 29 CFR 1915.11; from memory, check it)" in told
    assert "4.25 % by volume (hydrogen" in told


# A catalytic sensor reads low or nothing under about 10 % oxygen (trade press 2018, seen). Table 4.33.
@pytest.mark.parametrize(("oxygen", "refused"), [(5.0, True), (9.9, True), (10.0, False)])
def test_a_catalytic_reading_without_oxygen_is_no_evidence(oxygen: float, refused: bool) -> None:
    both = readings((Gas.OXYGEN, Gas.FLAMMABLE), oxygen={"value": oxygen})
    assert ("catalytic_without_oxygen" in holds(both, inerted())) is refused


def test_an_infrared_reading_counts_and_is_noted_as_blind_to_hydrogen() -> None:
    both = readings((Gas.OXYGEN, Gas.FLAMMABLE), oxygen={"value": 5.0}, flammable={"sensor": Sensor.INFRARED})
    said = remarks(both, inerted())
    assert codes(said, Weight.HOLD) == set()
    assert "blind_to_hydrogen" in codes(said, Weight.NOTE)


def test_a_catalytic_reading_where_nobody_measured_oxygen_is_no_evidence() -> None:
    assert "catalytic_without_oxygen" in holds(readings((Gas.FLAMMABLE,)), inerted())


def test_oxygen_of_the_same_bay_counts_and_not_of_another() -> None:
    oxygen = readings((Gas.OXYGEN,))
    made = [oxygen[0].model_copy(update={"value": 5.0}), oxygen[1].model_copy(update={"value": 15.0})]
    front, rear = readings((Gas.FLAMMABLE,))
    assert "catalytic_without_oxygen" in holds([*made, front], inerted())
    assert "catalytic_without_oxygen" not in holds([*made, rear], inerted())


def test_oxygen_read_at_the_same_moment_counts() -> None:
    both = readings((Gas.OXYGEN, Gas.FLAMMABLE), oxygen={"value": 15.0})
    same = both[0].model_copy(update={"value": 5.0, "taken_at": both[2].taken_at})
    assert "catalytic_without_oxygen" in holds([*both, same], inerted())


def test_the_lowest_oxygen_of_several_heights_counts() -> None:
    both = readings((Gas.OXYGEN, Gas.FLAMMABLE), oxygen={"value": 15.0})
    higher = both[0].model_copy(update={"value": 5.0, "height_m": 0.8})
    assert "catalytic_without_oxygen" in holds([*both, higher], inerted())


def test_oxygen_of_another_bay_counts_where_there_is_none() -> None:
    low_at_front = readings((Gas.OXYGEN,), oxygen={"value": 5.0})[:1]
    rear = readings((Gas.FLAMMABLE,))[1:]
    assert "catalytic_without_oxygen" in holds([*low_at_front, *rear], inerted())


def test_oxygen_that_fell_after_the_catalytic_reading_does_not_count_against_it() -> None:
    both = readings((Gas.OXYGEN, Gas.FLAMMABLE), oxygen={"value": 15.0})
    later = [one.model_copy(update={"value": 5.0, "taken_at": one.taken_at + timedelta(minutes=9)}) for one in both[:2]]
    assert holds([*both, *later], inerted()) == set()


def test_vapour_under_inert_gas_is_warned_of_and_holds_nothing() -> None:
    both = readings((Gas.OXYGEN, Gas.FLAMMABLE), oxygen={"value": 5.0},
                    flammable={"value": 80.0, "sensor": Sensor.INFRARED})  # fmt: skip
    said = remarks(both, inerted())
    assert codes(said, Weight.HOLD) == set()
    assert "vapour_under_inert" in codes(said, Weight.WARN)


def test_one_place_is_told_in_the_singular() -> None:
    (text,) = [one.text for one in remarks(low(5.0, place="front bay"), inerted()) if one.code == "oxygen_few_places"]
    assert text == "Baffles trap vapour: oxygen measured at 1 named place, at least 2 asked for."
