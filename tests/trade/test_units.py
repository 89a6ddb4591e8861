"""Quantities as people write them, with pint as a second way of computing."""

from __future__ import annotations

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as some

from prepcheck.errors import WrongUse
from prepcheck.trade.units import Kind, System, convert, quantity, shown, span, symbols

REGISTRY: pint.UnitRegistry = pint.UnitRegistry()
IN_PINT = {
    "mm2": "mm**2", "cm2": "cm**2", "m2": "m**2", "in2": "inch**2", "ft2": "foot**2", "mm3": "mm**3", "cm3": "cm**3",
    "in3": "inch**3", "m3": "m**3", "ft3": "foot**3", "gal": "US_liquid_gallon", "in": "inch", "ft": "foot", "C": "degC",
    "F": "degF", "L/min": "L/min", "cfh": "foot**3/hour", "in/min": "inch/min", "kJ/in": "kJ/inch", "ft-lb": "foot*lbf",
    "lbf": "lbf", "kg/m3": "kg/m**3", "lb/ft3": "lb/foot**3", "kg/L": "kg/L", "Pa m3/s": "Pa*m**3/s",
    "std cm3/s": "atm*cm**3/s",
}  # fmt: skip
INNER = {
    Kind.LENGTH: "mm", Kind.HEIGHT: "m", Kind.AREA: "mm**2", Kind.SMALL_VOLUME: "mm**3", Kind.VOLUME: "m**3",
    Kind.MASS: "kg", Kind.PRESSURE: "Pa", Kind.TEMPERATURE: "kelvin", Kind.TEMPERATURE_STEP: "kelvin",
    Kind.GAS_FLOW: "L/min", Kind.TIME: "s", Kind.SPEED: "mm/s", Kind.HEAT_INPUT: "kJ/mm", Kind.ENERGY: "J",
    Kind.FORCE: "N", Kind.DENSITY: "kg/m**3", Kind.LEAK_RATE: "Pa*m**3/s",
}  # fmt: skip
UNITS = [(kind, symbol) for kind in Kind for symbol in symbols(kind)]
CAN_BE_WRITTEN = [(kind, symbol) for kind, symbol in UNITS if " " not in symbol]
NUMBERS = some.floats(min_value=-1e9, max_value=1e9).filter(lambda value: value == 0 or abs(value) > 1e-9)


def in_pint(value: float, kind: Kind, symbol: str) -> float:
    """Return `value` in the inner unit of `kind` as pint computes it."""
    name = IN_PINT.get(symbol, symbol)
    if kind is Kind.TEMPERATURE_STEP and symbol in "CF":
        name = f"delta_{name}"
    return float(REGISTRY.Quantity(value, name).to(INNER[kind]).magnitude)


@pytest.mark.parametrize(("kind", "symbol"), UNITS)
def test_every_unit_agrees_with_pint(kind: Kind, symbol: str) -> None:
    inner = in_pint(12.5, kind, symbol)
    assert convert(inner, kind, symbol) == pytest.approx(12.5, rel=1e-9)


@pytest.mark.parametrize(("kind", "symbol"), CAN_BE_WRITTEN)
def test_what_is_written_in_a_unit_is_read_as_pint_reads_it(kind: Kind, symbol: str) -> None:
    assert quantity(f"12.5 {symbol}", kind, "it") == pytest.approx(in_pint(12.5, kind, symbol), rel=1e-9)


@given(some.sampled_from(CAN_BE_WRITTEN), NUMBERS)
def test_writing_and_reading_gives_the_number_back(unit: tuple[Kind, str], value: float) -> None:
    kind, symbol = unit
    back = convert(quantity(f"{value!r} {symbol}", kind, "it"), kind, symbol)
    assert back == pytest.approx(value, rel=1e-9, abs=1e-9)


@given(some.sampled_from(list(Kind)), some.sampled_from(list(System)), NUMBERS)
def test_what_is_shown_is_right_to_its_digits(kind: Kind, system: System, value: float) -> None:
    number, _, symbol = shown(value, kind, system, digits=4).partition(" ")
    exact = convert(value, kind, symbol)
    assert float(number) == pytest.approx(exact, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("5mm", 5), ("5 mm", 5), (" 5  mm ", 5), ("0,5 cm", 5), (".5 cm", 5), ("1/8 in", 3.175), ("1-1/2 in", 38.1),
        ("1 1/2 in", 38.1), ("1e1 mm", 10), ("-2 mm", -2), ("-1-1/2 in", -38.1), ("0,125 in", 3.175),
    ],
)  # fmt: skip
def test_lengths_are_read_as_welders_write_them(text: str, mm: float) -> None:
    assert quantity(text, Kind.LENGTH, "it") == pytest.approx(mm)


def test_degrees_and_raised_figures_are_read() -> None:
    assert quantity("20 °C", Kind.TEMPERATURE, "it") == pytest.approx(293.15)
    assert quantity("9 mm²", Kind.AREA, "it") == 9


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "the wall is no number with a unit"),
        ("thick", "no number with a unit"),
        ("5", "the wall has no unit"),
        ("5 kg", "a unit that is not one of mm, in, cm, m, ft"),
        ("5 MM", "a unit that is not one of"),
        ("5 mm 0.2 in", "no number with a unit"),
        ("5 mm2", "a unit that is not one of"),
        ("nan mm", "no number with a unit"),
        ("inf mm", "no number with a unit"),
        ("1e400 mm", "too large"),
        ("1,250 mm", "can be read in two ways"),
        ("1/0 in", "divided by zero"),
        ("1.5/2 in", "no number with a unit"),
        ("1" * 61 + " mm", "no number with a unit"),
    ],
)
def test_what_is_no_length_is_refused(text: str, says: str) -> None:
    with pytest.raises(WrongUse, match=says):
        quantity(text, Kind.LENGTH, "the wall")


@pytest.mark.parametrize("text", ["0 mm", "-1 mm", "1001 mm", "40 in"])
def test_bounds_are_told_in_the_unit_that_was_used(text: str) -> None:
    with pytest.raises(WrongUse, match=r"It has to be more than 0 and at most (1000 mm|39\.37 in)"):
        quantity(text, Kind.LENGTH, "the wall", more_than=0, most=1000)


def test_below_absolute_zero_is_out_of_range() -> None:
    with pytest.raises(WrongUse, match=r"It has to be more than -459\.7 F"):
        quantity("-460 F", Kind.TEMPERATURE, "it", more_than=0)


@pytest.mark.parametrize(
    ("value", "kind", "system", "text"),
    [
        (3.8, Kind.LENGTH, System.METRIC, "3.80 mm"),
        (3.8, Kind.LENGTH, System.US, "0.150 in"),
        (0.0, Kind.LENGTH, System.US, "0 in"),
        (293.15, Kind.TEMPERATURE, System.US, "68.0 F"),
        (45, Kind.TIME, System.US, "45.0 s"),
        (1800, Kind.TIME, System.METRIC, "30.0 min"),
        (100_000, Kind.TIME, System.METRIC, "27.8 h"),
        (1.01e-6, Kind.LEAK_RATE, System.METRIC, "1.01e-06 Pa m3/s"),
        (123_456, Kind.LENGTH, System.METRIC, "123456 mm"),
    ],
)
def test_values_are_shown_in_one_system(value: float, kind: Kind, system: System, text: str) -> None:
    assert shown(value, kind, system) == text


def test_a_span_has_its_unit_once() -> None:
    assert span(1.6, 3.2, Kind.LENGTH, System.METRIC) == "1.60 to 3.20 mm"
    assert span(2.0, 2.0, Kind.LENGTH, System.METRIC) == "2.00 mm"


def test_3_psi_is_20_684_kpa() -> None:
    """From the definitions of pound, inch and standard gravity: computed."""
    assert quantity("3 psi", Kind.PRESSURE, "it") == pytest.approx(20_684, abs=0.5)


def test_a_number_that_is_not_finite_is_shown_as_such() -> None:
    assert shown(math.inf, Kind.LENGTH, System.METRIC) == "inf mm"
