"""What a reading is worth: its time, its meter, its calibration."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, strategies

from prepcheck.errors import WrongUse
from prepcheck.trade.clearing import check_readings
from prepcheck.trade.entries import Gas, Sensor, State
from prepcheck.trade.facts import Weight
from prepcheck.trade.units import System
from tests.trade.clearing.vessel import (
    NOW,
    SETTINGS,
    after,
    codes,
    condition,
    holds,
    inerted,
    reading,
    readings,
    remarks,
)

ALL = ("oxygen", "flammable", "toxic")


# 30 min: the shop's setting; common practice, no source.
@pytest.mark.parametrize(("minutes", "held"), [(40, set()), (40.1, {"reading_aged"}), (2000, {"reading_aged"})])
def test_a_reading_ages(minutes: float, held: set[str]) -> None:
    assert holds(readings(), now=after(minutes)) == held


def test_the_oldest_reading_decides() -> None:
    assert holds(readings(toxic={"minute": 20}), now=after(41)) == {"reading_aged"}


@given(strategies.floats(0, 5000), strategies.floats(0, 5000), strategies.sampled_from(list(State)))
def test_waiting_longer_never_takes_a_hold_away(first: float, more: float, state: State) -> None:
    of = condition(state, water_gap_mm=35.0)
    made = readings(oxygen={"value": 18.0})
    start = max(one.taken_at for one in made)
    sooner = holds(made, of, now=start + timedelta(minutes=first))
    assert sooner <= holds(made, of, now=start + timedelta(minutes=first + more))


@pytest.mark.parametrize("gas", ALL)
def test_a_reading_from_the_future_holds(gas: str) -> None:
    assert "reading_from_the_future" in holds(readings(**{gas: {"minute": 31}}))


def test_a_reading_taken_this_very_moment_counts() -> None:
    assert holds(readings(toxic={"minute": 30})) == set()


def test_readings_taken_as_the_vessel_was_made_ready_count() -> None:
    same = {"minute": 0}
    said = remarks(readings(oxygen=same, flammable=same, toxic=same), now=after(0))
    assert [one.code for one in said] == ["readings_within_limits"]


def test_a_reading_from_the_future_is_no_evidence() -> None:
    assert "oxygen_not_measured" in holds(readings(oxygen={"minute": 31}))


def test_a_clock_that_was_set_back_holds() -> None:
    said = holds(readings(), now=after(-60))
    assert {"condition_from_the_future", "reading_from_the_future", "oxygen_not_measured"} <= said


def test_readings_from_before_the_condition_are_set_aside() -> None:
    said = remarks(readings(oxygen={"minute": -5}))
    assert "oxygen_not_measured" in codes(said, Weight.HOLD)
    assert "reading_before_condition" in codes(said, Weight.NOTE)


def test_a_condition_entered_anew_starts_from_nothing() -> None:
    made = readings(flammable={"value": 50.0})
    again = [one.model_copy(update={"value": 20.9 if one.gas is Gas.OXYGEN else 0.0,
                                    "taken_at": one.taken_at + timedelta(minutes=10)}) for one in made]  # fmt: skip
    assert holds([*made, *again], condition(at=after(15))) == set()


def test_a_time_in_another_zone_is_the_same_time() -> None:
    made = [one.model_copy(update={"taken_at": one.taken_at.astimezone(tz=None)}) for one in readings()]
    assert holds(made) == set()


def test_a_check_at_a_time_without_offset_is_refused() -> None:
    with pytest.raises(WrongUse, match="no offset"):
        check_readings(condition(), readings(), NOW.replace(tzinfo=None), SETTINGS)


# Which dates a meter needs: common practice, no source; 183 days is the shop's setting.
@pytest.mark.parametrize(
    ("on", "due", "held"),
    [
        (date(2026, 2, 20), date(2026, 8, 20), set()),
        (None, date(2026, 3, 2), set()),
        (None, date(2026, 3, 1), {"calibration_expired"}),
        (date(2025, 2, 1), date(2026, 2, 1), {"calibration_expired"}),
        (None, None, {"calibration_missing"}),
        (date(2026, 3, 2), None, set()),
        (date(2026, 3, 3), None, {"calibration_later"}),
        (date(2025, 8, 31), None, set()),
        (date(2025, 8, 30), None, {"calibration_stale"}),
    ],
)
@pytest.mark.parametrize("gas", ALL)
def test_a_calibration_must_be_told_and_in_date(gas: str, on: date | None, due: date | None, held: set[str]) -> None:
    assert holds(readings(**{gas: {"calibrated_on": on, "calibration_due": due}})) == held


@pytest.mark.parametrize(("gas", "value"), [("oxygen", -0.1), ("oxygen", 100.1), ("flammable", -1.0), ("toxic", -1.0)])
def test_a_value_that_no_air_holds_is_no_reading(gas: str, value: float) -> None:
    assert "reading_impossible" in holds(readings(**{gas: {"value": value}}))


def test_pure_oxygen_is_a_reading_all_the_same() -> None:
    assert holds(readings(oxygen={"value": 100.0})) == {"oxygen_high"}


@pytest.mark.parametrize("factor", [0.1, 20.0])
def test_a_factor_at_the_end_of_what_can_be_is_taken(factor: float) -> None:
    assert holds(readings(flammable={"factor": factor})) == set()


@pytest.mark.parametrize("sensor", list(Sensor))
def test_sensors_that_do_not_see_hydrogen_are_noted(sensor: Sensor) -> None:
    noted = "blind_to_hydrogen" in codes(remarks(readings(flammable={"sensor": sensor})), Weight.NOTE)
    assert noted == (sensor in (Sensor.INFRARED, Sensor.PHOTOIONISATION))


@pytest.mark.parametrize("factor", [0.0, -1.0, 0.05, 1000.0])
def test_a_factor_that_cannot_be_holds(factor: float) -> None:
    assert "factor_impossible" in holds(readings(flammable={"factor": factor}))


@pytest.mark.parametrize("sensor", [Sensor.CATALYTIC, Sensor.INFRARED, Sensor.PHOTOIONISATION])
def test_oxygen_from_a_sensor_that_does_not_measure_it_holds(sensor: Sensor) -> None:
    assert holds(readings(oxygen={"sensor": sensor})) == {"no_oxygen_sensor"}


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"meter": " "}, "meter_not_named"),
        ({"calibration_gas": ""}, "calibration_gas_not_told"),
        ({"sensor": Sensor.OTHER, "sees_hydrogen": True}, "sensor_not_told"),
    ],
)
def test_what_the_record_lacks_is_warned_of(changed: dict[str, object], code: str) -> None:
    assert code in codes(remarks(readings(flammable=changed)), Weight.WARN)


def test_a_remark_names_value_place_height_and_time() -> None:
    (held,) = [one for one in remarks([*readings(), reading(Gas.FLAMMABLE, value=40, minute=13)])
               if one.weight is Weight.HOLD]  # fmt: skip
    assert "40 % LEL, front bay at 0.10 m, 09:13" in held.text


# A foot is 0.3048 m by definition (NIST SP 811, from memory).
def test_a_remark_tells_heights_and_gaps_in_the_units_asked_for() -> None:
    low_air = check_readings(condition(), readings(oxygen={"value": 5.0}), NOW, SETTINGS, System.US)
    dry = check_readings(condition(State.WATER_FILLED, water_gap_mm=254.0), [], NOW, SETTINGS, System.US)
    assert "front bay at 0.33 ft" in low_air[0].text
    assert "10.0 in below the weld, over 1.18 in" in dry[0].text


def test_a_remark_about_many_readings_stays_short() -> None:
    many = [reading(Gas.OXYGEN, value=5.0, place=f"bay {number}") for number in range(40)]
    (held,) = [one for one in remarks(many) if one.code == "oxygen_low"]
    assert held.text.endswith("36 more.")


def test_a_remark_about_four_readings_names_them_all() -> None:
    four = [reading(Gas.OXYGEN, value=5.0, place=f"bay {number}") for number in range(4)]
    (held,) = [one for one in remarks(four) if one.code == "oxygen_low"]
    assert "bay 3" in held.text
    assert "more" not in held.text


def test_what_holds_comes_first_then_what_is_warned_of() -> None:
    order = [one.weight for one in remarks(readings(oxygen={"value": 5.0}), inerted(room_ventilated=False))]
    assert order == sorted(order, key=[Weight.HOLD, Weight.WARN, Weight.NOTE].index)
