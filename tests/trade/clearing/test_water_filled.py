"""The gate of a water-filled vessel: water up to close below the weld, the space above it open and measured."""

from __future__ import annotations

import pytest

from prepcheck.settings import ClearingSettings
from prepcheck.trade.entries import Gas, State, VesselCondition
from prepcheck.trade.facts import Weight
from tests.trade.clearing.vessel import codes, condition, holds, readings, remarks


def filled(gap_mm: float | None) -> VesselCondition:
    return condition(State.WATER_FILLED, water_gap_mm=gap_mm)


# Within 25 to 30 mm of the weld: a gas supplier's notes on work on tanks (seen). Table 4.8.
@pytest.mark.parametrize(
    ("gap_mm", "held"),
    [
        (25.0, set()),
        (30.0, set()),
        (10.0, set()),
        (0.0, set()),
        (30.1, {"water_gap_wide"}),
        (900.0, {"water_gap_wide"}),
        (-1.0, {"water_over_weld"}),
        (None, {"water_gap_not_told"}),
    ],
)
def test_the_gap_is_held_beyond_the_published_one(gap_mm: float | None, held: set[str]) -> None:
    assert holds(readings((Gas.OXYGEN, Gas.FLAMMABLE)), filled(gap_mm)) == held


@pytest.mark.parametrize(("gap_mm", "noted"), [(24.9, True), (25.0, False)])
def test_a_narrower_gap_than_the_published_one_is_noted(gap_mm: float, noted: bool) -> None:
    said = remarks(readings((Gas.OXYGEN, Gas.FLAMMABLE)), filled(gap_mm))
    assert ("water_gap_narrow" in codes(said, Weight.NOTE)) is noted


def test_vapour_above_the_water_holds() -> None:
    assert holds(readings((Gas.OXYGEN, Gas.FLAMMABLE), flammable={"value": 10.0}), filled(28.0)) == {"vapour_high"}


def test_a_space_above_the_water_that_nobody_measured_is_warned_of() -> None:
    assert "space_above_water" in codes(remarks([], filled(28.0)), Weight.WARN)


def test_without_readings_the_outcome_names_no_places_and_times() -> None:
    *_, last = remarks([], filled(28.0))
    assert last.text.endswith("whoever the law names decides. Condition: water-filled.")


def test_a_shop_may_ask_for_less() -> None:
    strict = ClearingSettings(water_gap_most_mm=25.0)
    assert "water_gap_wide" in holds(readings((Gas.OXYGEN, Gas.FLAMMABLE)), filled(28.0), settings=strict)
