"""Intervals against published values (`shared/statistics.json` names the sources)."""

import json

import pytest
from scipy.special import stdtrit

from prepcheck.evaluate.statistics import wilson
from prepcheck.resources import folder

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


def test_an_impossible_proportion_is_refused():
    with pytest.raises(ValueError, match="5 of 4"):
        wilson(5, 4)
