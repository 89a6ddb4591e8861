"""Intervals and point counts against published values (`shared/statistics.json` names the sources)."""

import json

import numpy as np
import pytest
from scipy.special import stdtrit

from prepcheck.evaluate.statistics import point_count, wilson
from prepcheck.resources import folder
from prepcheck.terms import State
from tests.painted import plate

TABLE = json.loads((folder("shared") / "statistics.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("row", TABLE["wilson_95"]["rows"], ids=lambda row: f"{row['hits']} of {row['of']}")
def test_the_wilson_interval_is_the_published_one(row):
    assert wilson(row["hits"], row["of"]) == pytest.approx((row["low"], row["high"]), abs=1e-6)


@pytest.mark.parametrize("row", TABLE["newcombe_95"]["rows"], ids=lambda row: f"{row['hits']} of {row['of']}")
def test_the_wilson_interval_agrees_with_newcombe(row):
    assert wilson(row["hits"], row["of"]) == pytest.approx((row["low"], row["high"]), abs=5e-5)


@pytest.mark.parametrize("row", TABLE["student_t_95"]["rows"], ids=lambda row: f"{row['fields']} fields")
def test_the_multiplier_is_students_t(row):
    assert float(stdtrit(row["fields"] - 1, 0.975)) == pytest.approx(row["t"], abs=5e-4)


def test_the_worked_point_count_comes_out():
    example = TABLE["point_count"]
    counted = point_count(example["hits"], example["points"])
    assert counted.mean == pytest.approx(example["mean_percent"])
    assert counted.deviation == pytest.approx(example["deviation"], abs=5e-5)
    assert counted.confidence == pytest.approx(example["confidence"], abs=5e-5)
    assert counted.relative_accuracy == pytest.approx(example["relative_accuracy"], abs=5e-3)


def test_the_interval_uses_students_t_and_not_the_normal_law():
    # 20 fields, mean 8.4 %, deviation 1.9 %: 0.889 with t, 0.833 with 1.96 (computed).
    fields = np.random.default_rng(0).normal(0, 1, 20)
    percents = 8.4 + 1.9 * (fields - fields.mean()) / fields.std(ddof=1)
    assert point_count(percents, 100).confidence == pytest.approx(0.889, abs=5e-4)


def test_an_impossible_proportion_is_refused():
    with pytest.raises(ValueError, match="5 of 4"):
        wilson(5, 4)


def test_a_grid_count_agrees_with_the_painted_area():
    # Second way of computing an area fraction: 30 random 10 x 10 grids on the map against its pixel share.
    states = plate((State.OXIDE, 320, 240, 80))
    rng = np.random.default_rng(5)
    hits = []
    for _ in range(30):
        y, x = rng.integers(0, 48), rng.integers(0, 64)
        hits.append(np.count_nonzero(states[y::48, x::64] == State.OXIDE))
    counted = point_count(hits, 100)
    assert abs(counted.mean - 100 * np.mean(states == State.OXIDE)) < counted.confidence
