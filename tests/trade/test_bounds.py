"""A number that cannot be is refused in the units of both systems."""

from __future__ import annotations

import math

import pytest

from prepcheck.errors import WrongUse
from prepcheck.trade.bounds import bounded


@pytest.mark.parametrize("value", [1.0, 5.0, 10.0])
def test_a_number_within_its_bounds_comes_back(value: float) -> None:
    assert bounded(value, "the wall", "mm", least=1, most=10) == value


@pytest.mark.parametrize("value", [0.999, 10.001, math.nan, math.inf, -math.inf])
def test_a_number_out_of_bounds_is_refused(value: float) -> None:
    with pytest.raises(WrongUse, match="the wall is out of range"):
        bounded(value, "the wall", "mm", least=1, most=10)


def test_a_bound_may_itself_be_left_out() -> None:
    with pytest.raises(WrongUse, match="more than 0 and at most 10"):
        bounded(0.0, "the wall", "mm", more_than=0, most=10)


@pytest.mark.parametrize(
    ("value", "unit", "least", "most", "said"),
    [  # an inch is 25.4 mm by definition; 0 K is -273.15 C is -459.67 F
        (50.8, "mm", 1, 25.4, "50.8 mm (2.00 in): it is out of range. It has to be at least 1.00 mm (0.0394 in) and at most"
         " 25.4 mm (1.00 in)."),
        (0.0, "K", 273.15, 373.15, "-273 C (-460 F): it is out of range. It has to be at least 0 C (32.0 F) and at most 100 C"
         " (212 F)."),
        (5.0, "A", 10, 20, "5 A: it is out of range. It has to be at least 10 A and at most 20 A."),
        (math.nan, "mm", 0, 5.08, "nan mm: it is out of range. It has to be at least 0 and at most 5.08 mm (0.200 in)."),
    ],
)  # fmt: skip
def test_bounds_are_told_in_both_systems(value: float, unit: str, least: float, most: float, said: str) -> None:
    with pytest.raises(WrongUse) as refused:
        bounded(value, "it", unit, least=least, most=most)
    assert refused.value.message == said
