"""Area fractions from counted points against worked values."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.agreement.point_count import AreaFraction, area_fraction, fields_needed, fractions, percent_of
from prepcheck.resources import folder
from prepcheck.terms import State
from tests.agreement.forms import counted

TABLE = json.loads((folder("shared") / "statistics.json").read_text(encoding="utf-8"))
PERCENTS = st.lists(st.floats(0, 100, allow_subnormal=False), min_size=2, max_size=40)


def spread(mean: float, deviation: float, fields: int) -> list[float]:
    """Return percentages with exactly this mean and standard deviation."""
    drawn = np.random.default_rng(0).normal(0, 1, fields)
    return list(mean + deviation * (drawn - drawn.mean()) / drawn.std(ddof=1))


def test_the_worked_example_comes_out() -> None:
    # Own example by the formulas of ASTM E562 section 10 (formulas from memory, values computed).
    found = area_fraction([4 * hits for hits in (4, 6, 3, 5, 7, 4, 5, 6, 2, 5)])
    assert found.mean == pytest.approx(18.8)
    assert found.deviation == pytest.approx(5.9777, abs=5e-5)
    assert found.half_width == pytest.approx(4.2762, abs=5e-5)
    assert found.relative_accuracy == pytest.approx(22.75, abs=5e-3)


def test_the_interval_is_by_students_t_and_never_by_the_normal_law() -> None:
    # 20 fields, 8.4 %, s 1.9 %: 0.889 with t; a page that used 1.96 prints 0.8 (computed).
    found = area_fraction(spread(8.4, 1.9, 20))
    assert found.half_width == pytest.approx(0.889, abs=5e-4)
    assert found.relative_accuracy == pytest.approx(10.6, abs=0.05)


@pytest.mark.parametrize("row", TABLE["student_t_95"]["rows"], ids=lambda row: f"{row['fields']} fields")
def test_the_multiplier_is_that_of_the_table(row: dict[str, float]) -> None:
    # ASTM E562 Table 1 from memory; computed quantiles agree.
    fields = int(row["fields"])
    half = area_fraction(spread(50, 1, fields)).half_width
    assert half is not None
    assert half * np.sqrt(fields) == pytest.approx(row["t"], abs=5e-4)


def test_a_point_on_a_boundary_counts_one_half() -> None:
    # ASTM E562-01 section 3.2.1 (seen): 3 inside and 2 on the edge of 25 points make 4 of 25, 16 %.
    one = counted(" ".join(["2"] * 3 + ["1+2"] * 2 + ["1"] * 20))
    assert percent_of(one, State.OXIDE) == pytest.approx(16)
    assert percent_of(one, State.BRIGHT) == pytest.approx(84)


def test_half_the_relative_accuracy_needs_four_times_the_fields() -> None:
    # ASTM E562 sections 11.1 to 11.4 (seen): 30 fields at 20 % make 120 at 10 %.
    at_20 = AreaFraction(30, 50, 26.78, 10)
    assert at_20.relative_accuracy == 20
    assert fields_needed(at_20, 10) == 120
    assert fields_needed(at_20, 20) == 30
    assert fields_needed(at_20, 40) == 8


@pytest.mark.parametrize("found", [AreaFraction(1, 50, None, None), AreaFraction(5, 0, 0, 0), AreaFraction(5, 9, 0, 0)])
def test_no_spread_tells_nothing_about_fields_needed(found: AreaFraction) -> None:
    assert fields_needed(found, 10) is None


def test_one_field_has_no_interval() -> None:
    found = area_fraction([40])
    assert (found.mean, found.deviation, found.interval, found.relative_accuracy) == (40, None, None, None)


@pytest.mark.parametrize("share", [0, 100])
def test_nothing_or_all_in_each_field_is_no_proof_of_it(share: float) -> None:
    assert area_fraction([share] * 5).interval is None


@given(PERCENTS)
def test_the_interval_holds_the_mean_and_stays_within_the_possible(percents: list[float]) -> None:
    found = area_fraction(percents)
    if found.interval is not None:
        assert 0 <= found.interval[0] <= found.mean + 1e-9
        assert found.mean - 1e-9 <= found.interval[1] <= 100


@given(PERCENTS, st.randoms())
def test_the_order_of_fields_is_nothing(percents: list[float], chance: object) -> None:
    shuffled = list(percents)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    first, second = area_fraction(percents), area_fraction(shuffled)
    assert first.mean == pytest.approx(second.mean)
    assert first.half_width == pytest.approx(second.half_width)


def test_the_states_of_a_field_add_up_to_all_of_it() -> None:
    found = fractions([counted("1 1 2 1+2 9 0"), counted("3 4 5 4+5 9 1")])
    assert sum(one.mean for one in found.values()) == pytest.approx(100)
    assert {one.fields for one in found.values()} == {2}
