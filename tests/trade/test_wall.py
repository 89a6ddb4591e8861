"""Wall left, against a minimum, and its refill."""

from __future__ import annotations

import math
import re
import statistics
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as some

from prepcheck.errors import WrongUse
from prepcheck.settings import WallSettings
from prepcheck.trade.entries import WallReading
from prepcheck.trade.facts import Mark, Weight
from prepcheck.trade.plan import Plan, as_entry, texts
from prepcheck.trade.refill import Refill, Rods, Shape, fill_rule, refill, work_out
from prepcheck.trade.units import System
from prepcheck.trade.wall import (
    MINIMA,
    Against,
    Regime,
    Wall,
    from_before_after,
    from_depth,
    from_gauge,
    measured,
    minimum,
    of_entry,
)
from prepcheck.trade.wall_plan import check_walls, wall_plan

DEFAULTS = WallSettings()
BAD = (math.nan, math.inf, -1.0, 1e9)
ROD = Rods(diameter_mm=2.4, length_mm=914.4, loss_share=0.15, overfill_share=0.25)


def of(left_mm: float, error_mm: float = 0.1) -> Wall:
    return Wall("gauge", left_mm, error_mm, (left_mm,))


# --- the wall left


def test_of_several_readings_the_least_counts_and_the_mean_is_shown() -> None:
    wall = from_gauge([4.1, 3.8, 4.4], error_mm=0.1, nominal_mm=5.0)
    assert (wall.left_mm, wall.mean_mm) == (3.8, pytest.approx(4.1))
    assert wall.share == pytest.approx(0.76)
    assert wall.depth_mm == pytest.approx(1.2)


def test_depth_is_taken_from_the_nominal_wall_and_errors_add_as_squares() -> None:
    wall = from_depth(5.0, 1.2, error_mm=0.3, nominal_error_mm=0.4)
    assert wall.left_mm == pytest.approx(3.8)
    assert wall.error_mm == pytest.approx(0.5)


def test_before_and_after_give_the_depth_ground_out_and_the_least_wall() -> None:
    wall = from_before_after([5.0, 5.2], [4.0, 3.8], error_mm=0.1)
    assert (wall.left_mm, wall.depth_mm) == (3.8, pytest.approx(1.2))
    assert wall.share is None


def test_a_wall_that_seems_to_have_grown_within_the_error_counts_as_not_ground() -> None:
    assert from_before_after([4.0], [4.1], error_mm=0.1).depth_mm == 0


def test_a_wall_that_has_grown_beyond_the_error_is_refused() -> None:
    with pytest.raises(WrongUse, match="more wall after grinding than before"):
        from_before_after([4.0], [4.2], error_mm=0.1)


@pytest.mark.parametrize("depth_mm", [5.0, 5.1])
def test_a_ground_out_through_the_wall_is_a_hole(depth_mm: float) -> None:
    with pytest.raises(WrongUse, match="That is a hole"):
        from_depth(5.0, depth_mm, error_mm=0.1, nominal_error_mm=0.1)


@given(some.lists(some.floats(0.1, 90), min_size=1, max_size=20))
def test_least_mean_and_most_are_in_order(readings: list[float]) -> None:
    wall = from_gauge(readings, error_mm=0.0)
    assert wall.left_mm <= wall.mean_mm * (1 + 1e-12)
    assert wall.mean_mm == pytest.approx(statistics.fmean(readings))


@pytest.mark.parametrize("bad", [*BAD, 0.0])
def test_a_reading_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(WrongUse, match="a gauge reading is out of range"):
        from_gauge([4.0, bad], error_mm=0.1)


@pytest.mark.parametrize("bad", BAD)
def test_an_error_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(WrongUse, match="the error is out of range"):
        from_gauge([4.0], error_mm=bad)


@pytest.mark.parametrize("bad", BAD)
def test_a_depth_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(WrongUse, match="the depth is out of range"):
        from_depth(5.0, bad, error_mm=0.1, nominal_error_mm=0.1)


@pytest.mark.parametrize("readings", [[], [4.0] * 201])
def test_no_reading_and_too_many_are_refused(readings: list[float]) -> None:
    with pytest.raises(WrongUse, match="no gauge reading, or too many"):
        from_gauge(readings, error_mm=0.1)


@pytest.mark.parametrize(
    ("figures", "method", "error_mm"),
    [
        ({"gauge_mm": [4.0]}, "gauge", 0.1),
        ({"gauge_mm": [4.0], "error_mm": 0.02}, "gauge", 0.02),
        ({"gauge_mm": [4.0], "before_mm": [5.0]}, "before_after", 0.1),
        ({"nominal_mm": 5.0, "depth_mm": 1.2}, "depth", math.hypot(0.2, 0.25)),
    ],
)
def test_the_figures_given_choose_the_way(figures: dict[str, Any], method: str, error_mm: float) -> None:
    wall = measured(DEFAULTS, **figures)
    assert (wall.method, wall.error_mm) == (method, pytest.approx(error_mm))


@pytest.mark.parametrize(
    "figures",
    [
        {},
        {"nominal_mm": 5.0},
        {"depth_mm": 1.0},
        {"before_mm": [5.0]},
        {"nominal_mm": 5.0, "depth_mm": 1.0, "before_mm": [5.0]},
        {"gauge_mm": [4.0], "nominal_mm": 5.0, "depth_mm": 1.0},
    ],
)
def test_figures_that_tell_of_no_wall_or_of_two_are_refused(figures: dict[str, Any]) -> None:
    with pytest.raises(WrongUse, match="the wall left"):
        measured(DEFAULTS, **figures)


# --- against a minimum


@pytest.mark.parametrize(
    ("left_mm", "stands"),
    [(2.1, "not below it"), (2.0999, "cannot tell"), (1.9, "cannot tell"), (1.8999, "below it"), (9.0, "not below it")],
)
def test_within_its_error_of_the_minimum_nothing_can_be_told(left_mm: float, stands: str) -> None:
    """Guard band: acceptance limit = limit + U (ILAC-G8:09/2019 section 4, seen)."""
    assert str(of(left_mm).against(2.0)).startswith(stands)


@pytest.mark.parametrize(
    ("value", "stands"),
    [
        (-0.0017, Against.NOT_BELOW),
        (-0.0025, Against.CANNOT_TELL),
        (-0.0035, Against.CANNOT_TELL),
        (-0.0041, Against.BELOW),
    ],
)
def test_the_published_example_of_a_guard_band(value: float, stands: Against) -> None:
    """Limit -0.003, U 0.0010 (example to ILAC-G8, seen): 0.0017 in, 0.0025 and 0.0035 uncertain, beyond 0.004 out."""
    assert of(value, 0.0010).against(-0.003) is stands


def test_at_the_edge_of_the_guard_band_a_thin_wall_slips_through_in_under_2_5_percent() -> None:
    """Normal law, w = 2u: 0.9772 conform (JCGM 106, computed)."""
    assert 1 - statistics.NormalDist(2.1, 0.05).cdf(2.0) == pytest.approx(0.9772, abs=5e-5)
    assert of(2.1, 0.1).against(2.0) is Against.NOT_BELOW


@given(some.floats(0.1, 20), some.floats(0, 5), some.floats(0.1, 20))
def test_a_larger_error_never_makes_an_answer_surer(left: float, error: float, least: float) -> None:
    sure = of(left, error).against(least)
    wider = of(left, error * 2).against(least)
    assert wider in (sure, Against.CANNOT_TELL)


@pytest.mark.parametrize(
    ("regime", "mm"),
    [(Regime.SMALL_CRAFT, 2.0), (Regime.RECREATIONAL, 2.286), (Regime.PASSENGER, 6.35)],
)
def test_the_published_minima_disagree_by_regime(regime: Regime, mm: float) -> None:
    """ISO 21487 2.0 mm, ABYC 0.090 in as reported, 46 CFR 182.440 0.250 in; all seen."""
    assert minimum(regime, None, DEFAULTS) == MINIMA[regime]
    assert (MINIMA[regime].value, MINIMA[regime].mark) == (pytest.approx(mm), Mark.SEEN)


def test_a_number_of_the_persons_own_goes_before_all_others() -> None:
    found = minimum(Regime.PASSENGER, 4.0, WallSettings(minimum_mm=3.0))
    assert found is not None
    assert (found.value, found.mark) == (4.0, Mark.SHOP)


@pytest.mark.parametrize("regime", [None, Regime.SHOP])
def test_the_minimum_of_the_settings_is_the_shops(regime: Regime | None) -> None:
    found = minimum(regime, None, WallSettings(minimum_mm=3.0))
    assert found is not None
    assert (found.value, found.mark) == (3.0, Mark.SHOP)


def test_without_a_choice_there_is_no_minimum() -> None:
    assert minimum(None, None, DEFAULTS) is None


@pytest.mark.parametrize(
    ("regime", "settings"), [(Regime.SHOP, DEFAULTS), (Regime.CARGO_TANK, WallSettings(minimum_mm=3))]
)
def test_a_regime_without_a_number_asks_for_one(regime: Regime, settings: WallSettings) -> None:
    with pytest.raises(WrongUse, match="has no number here"):
        minimum(regime, None, settings)


@pytest.mark.parametrize("bad", [*BAD, 0.0])
def test_a_minimum_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(WrongUse, match="the minimum is out of range"):
        minimum(None, bad, DEFAULTS)


# --- the refill


def test_a_prism_is_area_times_depth_and_a_dish_half_of_it() -> None:
    assert refill(900, 1.2, Shape.PRISM, ROD).volume_mm3 == pytest.approx(1080)
    assert refill(900, 1.2, Shape.DISH, ROD).volume_mm3 == pytest.approx(540)


def test_a_dish_is_close_to_a_shallow_spherical_cap() -> None:
    """Cap of radius a and height h: pi h (3 a2 + h2) / 6 (geometry); half a width of 15 mm, 2 mm deep."""
    cap = math.pi * 2 * (3 * 15**2 + 2**2) / 6
    assert refill(math.pi * 15**2, 2, Shape.DISH, ROD).volume_mm3 == pytest.approx(cap, rel=0.01)


def test_rods_are_counted_with_cap_and_losses() -> None:
    filled = refill(2000, 3, Shape.PRISM, ROD)
    assert filled.filler_mm3 == pytest.approx(6000 * 1.25 / 0.85)
    assert filled.length_mm == pytest.approx(filled.filler_mm3 / (math.pi * 1.2**2))
    assert filled.rods == 3


def test_a_spot_that_was_not_ground_down_needs_no_filler() -> None:
    assert refill(900, 0, Shape.PRISM, ROD) == Refill(Shape.PRISM, 0, 0, 0, 0)


@given(some.floats(1, 1e6), some.floats(0.01, 50), some.floats(0.5, 10))
def test_the_rods_counted_hold_enough_and_one_less_would_not(area: float, depth: float, diameter: float) -> None:
    rods = Rods.of(DEFAULTS, diameter)
    filled = refill(area, depth, Shape.PRISM, rods)
    one = rods.section_mm2 * rods.length_mm
    assert (filled.rods - 1) * one * (1 - 1e-9) < filled.filler_mm3 <= filled.rods * one * (1 + 1e-9)


@pytest.mark.parametrize("bad", [*BAD, 0.0])
def test_an_area_or_a_rod_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(WrongUse, match="the area is out of range"):
        refill(bad, 1.2, Shape.PRISM, ROD)
    with pytest.raises(WrongUse, match="the rod's diameter is out of range"):
        Rods.of(DEFAULTS, bad)


def test_an_area_without_a_depth_is_refused() -> None:
    with pytest.raises(WrongUse, match="the depth of the ground-out is not known"):
        work_out(of(4.0), None, DEFAULTS, area_mm2=900)


@pytest.mark.parametrize(
    ("left_mm", "area_mm2", "thin", "large"),
    [(2.5, 2500, False, False), (2.49, 2500, True, False), (2.5, 2501, False, True), (2.49, 2501, True, True)],
)
def test_fill_or_patch_is_the_shops_own_line(left_mm: float, area_mm2: float, thin: bool, large: bool) -> None:
    """Half the nominal wall, 2500 mm2: common practice, no source; both are settings."""
    wall = from_gauge([left_mm], error_mm=0.1, nominal_mm=5.0)
    rule = fill_rule(wall, area_mm2, DEFAULTS)
    assert (rule.too_thin, rule.too_large) == (thin, large)


# --- readings in the log


def reading(wall_mm: float, hour: int = 12, **more: Any) -> WallReading:
    at = datetime(2026, 5, 4, hour, tzinfo=UTC)
    return WallReading.model_validate({"method": "gauge", "wall_mm": wall_mm, "taken_at": at, "spot": 1, **more})


@pytest.mark.parametrize(
    ("told", "error_mm"),
    [
        ({}, 0.1),
        ({"uncertainty_mm": 0.03}, 0.03),
        ({"method": "depth", "nominal_mm": 5.0, "depth_mm": 1.2}, math.hypot(0.2, 0.25)),
        ({"method": "before_after", "depth_mm": 1.2}, 0.1),
    ],
)
def test_a_logged_reading_is_the_same_wall_as_a_measured_one(told: dict[str, Any], error_mm: float) -> None:
    wall = of_entry(reading(3.8, **told), DEFAULTS)
    assert (wall.left_mm, wall.error_mm) == (3.8, pytest.approx(error_mm))


@pytest.mark.parametrize(
    ("wall_mm", "said"), [(3.2, []), (3.05, [("near_minimum", Weight.HOLD)]), (2.8, [("below_minimum", Weight.HOLD)])]
)
def test_logged_readings_are_held_against_the_shops_minimum(wall_mm: float, said: list[tuple[str, Weight]]) -> None:
    remarks = check_walls([reading(wall_mm)], WallSettings(minimum_mm=3.0), System.METRIC)
    assert [(one.code, one.weight) for one in remarks] == said
    assert all(one.text.startswith("Spot 1: ") for one in remarks)


def test_of_each_place_the_last_reading_counts() -> None:
    remarks = check_walls(
        [reading(3.5, hour=14), reading(2.0, hour=9), reading(2.0, spot=None, place="sump")],
        WallSettings(minimum_mm=3.0),
        System.METRIC,
    )
    assert [one.text.partition(":")[0] for one in remarks] == ["sump"]


def test_logged_readings_without_a_minimum_say_so_once() -> None:
    assert [one.code for one in check_walls([reading(3.5), reading(3.4, spot=2)], DEFAULTS, System.US)] == [
        "no_own_minimum"
    ]
    assert check_walls([], DEFAULTS, System.US) == ()


# --- the plan


def plan(left_mm: float = 3.8, system: System = System.METRIC, **choice: Any) -> Plan:
    wall = from_gauge([left_mm, left_mm + 0.2], error_mm=0.1, nominal_mm=5.0)
    least = minimum(choice.get("regime"), choice.get("own_mm"), DEFAULTS)
    return wall_plan(work_out(wall, least, DEFAULTS, area_mm2=900), (("nominal", "5 mm"),), system)


def codes(plan: Plan, weight: Weight) -> set[str]:
    return {one.code for one in plan.remarks if one.weight is weight}


def test_all_published_minima_stand_side_by_side_with_their_marks() -> None:
    rows = {line.label: line for line in plan(regime=Regime.PASSENGER).lines if line.label.startswith("Minimum")}
    assert list(rows) == ["Minimum, small-craft", "Minimum, recreational", "Minimum, passenger (chosen)"]
    assert all("seen in the source" in line.source for line in rows.values())


@pytest.mark.parametrize(
    ("left_mm", "held"), [(2.0, {"near_minimum"}), (1.9, {"near_minimum"}), (1.8, {"below_minimum"}), (2.5, set())]
)
def test_the_chosen_minimum_holds_when_the_wall_is_below_or_cannot_be_told(left_mm: float, held: set[str]) -> None:
    assert codes(plan(left_mm, regime=Regime.SMALL_CRAFT), Weight.HOLD) == held


def test_where_none_was_chosen_nothing_holds_and_that_is_said() -> None:
    shown = plan(1.0)
    assert shown.holds == ()
    assert "no_minimum" in codes(shown, Weight.WARN)


def test_the_shops_own_minimum_has_a_line_of_its_own() -> None:
    (line,) = [line for line in plan(own_mm=4.0).lines if "the shop's (chosen)" in line.label]
    assert (line.value, line.source) == ("4.00 mm: below it", "as given; the shop's own")


def test_a_wall_by_depth_warns_of_the_far_side() -> None:
    wall = from_depth(5.0, 1.2, error_mm=0.2, nominal_error_mm=0.25)
    shown = wall_plan(work_out(wall, None, DEFAULTS), (), System.METRIC)
    assert "far_side" in codes(shown, Weight.WARN)


def test_more_than_the_nominal_wall_makes_the_gauge_doubtful() -> None:
    assert "more_than_nominal" in codes(plan(5.2), Weight.WARN)
    assert "more_than_nominal" not in codes(plan(5.1), Weight.WARN)


@pytest.mark.parametrize(("system", "other"), [(System.METRIC, "in|in2|in3|oz"), (System.US, "mm|mm2|mm3|g")])
def test_values_are_in_one_system(system: System, other: str) -> None:
    assert not [line.value for line in plan(system=system).lines if re.search(rf"\d ({other})\b", line.value)]


def test_no_text_gives_a_verdict() -> None:
    said = " ".join(text for system in System for text in texts(plan(2.0, system, regime=Regime.SMALL_CRAFT))).lower()
    assert not [word for word in ("safe", "passed", "failed", "approved", "acceptable") if word in said.split()]


def test_a_plan_is_logged_word_for_word() -> None:
    shown = plan(regime=Regime.PASSENGER)
    entry = as_entry(shown)
    assert entry.lines[0] == (shown.lines[0].label, f"{shown.lines[0].value} ({shown.lines[0].source})")
    assert entry.inputs == {"nominal": "5 mm"}
    assert [weight for weight, _ in entry.remarks] == sorted(
        (w for w, _ in entry.remarks), key=["hold", "warn", "note"].index
    )


def test_a_very_long_input_is_cut_in_the_log() -> None:
    entry = as_entry(Plan("wall", (("gauge", "4 mm, " * 100),), ()))
    assert len(entry.inputs["gauge"]) <= 200
