"""Quantities as people write them: read in metric or US units, computed in one, shown in the system chosen, never mixed.

Inside prepcheck a quantity is a plain float in the unit of its kind (see `Kind`); the name of the variable ends in that
unit (`wall_mm`, `volume_m3`). Factors are exact by definition (international foot and pound, US gallon of 231 cubic
inches; NIST SP 811, appendix B, from memory) unless a note says otherwise.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import StrEnum

from prepcheck.errors import WrongUse


class System(StrEnum):
    """Which units a person wants to see."""

    METRIC = "metric"
    US = "us"


@dataclass(frozen=True)
class Unit:
    """A unit: ``inner = value * factor + offset``, `inner` being the unit that prepcheck computes in."""

    symbol: str
    factor: float
    offset: float = 0.0


class Kind(StrEnum):
    """Kinds of quantity; the comment says what the inner unit is."""

    LENGTH = "length"  # mm
    HEIGHT = "height"  # m
    AREA = "area"  # mm2
    SMALL_VOLUME = "small volume"  # mm3
    VOLUME = "volume"  # m3
    MASS = "mass"  # kg
    PRESSURE = "pressure"  # Pa
    TEMPERATURE = "temperature"  # K
    TEMPERATURE_STEP = "temperature difference"  # K
    GAS_FLOW = "gas flow"  # L/min
    TIME = "time"  # s
    SPEED = "travel speed"  # mm/s
    HEAT_INPUT = "heat input"  # kJ/mm
    ENERGY = "energy"  # J
    FORCE = "force"  # N
    DENSITY = "density"  # kg/m3
    LEAK_RATE = "leak rate"  # Pa m3/s of gas at 0 C


INCH_MM = 25.4
FOOT_M = 0.3048
POUND_KG = 0.45359237
GALLON_M3 = 231 * (INCH_MM / 1000) ** 3
CUBIC_FOOT_M3 = FOOT_M**3
GRAVITY = 9.80665
"""Standard acceleration of free fall in m/s2."""
PSI_PA = POUND_KG * GRAVITY / (INCH_MM / 1000) ** 2
STANDARD_PA = 101_325.0
"""Standard atmosphere in Pa."""

_UNITS: dict[Kind, tuple[Unit, ...]] = {
    Kind.LENGTH: (Unit("mm", 1.0), Unit("in", INCH_MM), Unit("cm", 10.0), Unit("m", 1000.0), Unit("ft", 304.8)),
    Kind.HEIGHT: (Unit("m", 1.0), Unit("ft", FOOT_M), Unit("cm", 0.01), Unit("mm", 0.001), Unit("in", 0.0254)),
    Kind.AREA: (
        Unit("mm2", 1.0), Unit("in2", INCH_MM**2), Unit("cm2", 100.0), Unit("m2", 1e6), Unit("ft2", (12 * INCH_MM) ** 2),
    ),
    Kind.SMALL_VOLUME: (Unit("mm3", 1.0), Unit("in3", INCH_MM**3), Unit("cm3", 1000.0)),
    Kind.VOLUME: (
        Unit("m3", 1.0), Unit("ft3", CUBIC_FOOT_M3), Unit("L", 0.001), Unit("l", 0.001), Unit("gal", GALLON_M3),
    ),
    Kind.MASS: (Unit("kg", 1.0), Unit("lb", POUND_KG), Unit("g", 0.001), Unit("oz", POUND_KG / 16)),
    Kind.PRESSURE: (
        Unit("kPa", 1000.0), Unit("psi", PSI_PA), Unit("Pa", 1.0), Unit("bar", 100_000.0), Unit("mbar", 100.0),
    ),
    Kind.TEMPERATURE: (
        Unit("C", 1.0, 273.15), Unit("F", 5 / 9, 273.15 - 32 * 5 / 9), Unit("K", 1.0),
    ),
    Kind.TEMPERATURE_STEP: (Unit("K", 1.0), Unit("F", 5 / 9), Unit("C", 1.0)),
    Kind.GAS_FLOW: (Unit("L/min", 1.0), Unit("cfh", CUBIC_FOOT_M3 * 1000 / 60)),
    Kind.TIME: (Unit("s", 1.0), Unit("min", 60.0), Unit("h", 3600.0)),
    Kind.SPEED: (Unit("mm/s", 1.0), Unit("in/min", INCH_MM / 60), Unit("cm/min", 10 / 60), Unit("mm/min", 1 / 60)),
    Kind.HEAT_INPUT: (Unit("kJ/mm", 1.0), Unit("kJ/in", 1 / INCH_MM)),
    Kind.ENERGY: (Unit("kJ", 1000.0), Unit("ft-lb", FOOT_M * POUND_KG * GRAVITY), Unit("J", 1.0)),
    Kind.FORCE: (Unit("kN", 1000.0), Unit("lbf", POUND_KG * GRAVITY), Unit("N", 1.0)),
    Kind.DENSITY: (Unit("kg/m3", 1.0), Unit("lb/ft3", POUND_KG / CUBIC_FOOT_M3), Unit("kg/L", 1000.0)),
    Kind.LEAK_RATE: (Unit("Pa m3/s", 1.0), Unit("std cm3/s", STANDARD_PA * 1e-6)),
}  # fmt: skip
"""The first unit is the metric one that is shown, the second the US one; time is shown in what suits its length."""

_DECIMAL = r"\d+(?:[.,]\d*)?|[.,]\d+"
_NUMBER = rf"[+-]?(?:(?:\d+[ -])?\d+/\d+|(?:{_DECIMAL})(?:[eE][+-]?\d+)?)"
_WRITTEN = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z][A-Za-z/0-9-]*(?: [a-z]+3/s)?)?\s*")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_MOST_LETTERS = 60


def quantity(
    text: str, kind: Kind, what: str, *, more_than: float = -math.inf, least: float = -math.inf, most: float = math.inf
) -> float:
    """Read a quantity with its unit, such as ``5 mm``, ``1.5 gal`` or ``3/16 in``, as a number in the inner unit of `kind`.

    A number without a unit is refused: it is the usual way to mix systems up. So is ``1,250``, which is 1250 to one
    reader and 1.25 to another.

    Parameters
    ----------
    text : str
        What the person wrote.
    kind : Kind
        What it is a quantity of.
    what : str
        What it is called in an error.
    more_than, least, most : float, optional
        Bounds in the inner unit; `more_than` is itself left out.

    Raises
    ------
    WrongUse
        No finite number, no unit, a unit of another kind, or out of bounds.
    """
    units = {unit.symbol: unit for unit in _UNITS[kind]}
    shown_text = text[:_MOST_LETTERS]
    like = f"Write it like 12 {next(iter(units))}"
    written = _WRITTEN.fullmatch(shown_text.replace("²", "2").replace("³", "3").replace("°", ""))
    if written is None or len(text) > _MOST_LETTERS:
        raise WrongUse(f"{what} is no number with a unit", f"{like} ({', '.join(units)})", shown_text)
    unit = units.get(written[2] or "")
    if unit is None:
        said = f"has a unit that is not one of {', '.join(units)}" if written[2] else "has no unit"
        raise WrongUse(f"{what} {said}", like, shown_text)
    value = _number(written[1], what) * unit.factor + unit.offset
    if not math.isfinite(value):
        raise WrongUse(f"{what} is too large", "Check it", shown_text)
    if not (more_than < value and least <= value <= most):
        bounds = _bounds(unit, more_than, least, most)
        raise WrongUse(f"{what} is out of range", f"It has to be {bounds}", shown_text)
    return value


def optional_quantity(text: str | None, kind: Kind, what: str) -> float | None:
    """Read a quantity that may be missing; bounds are for whoever computes with it."""
    return None if text is None else quantity(text, kind, what)


def _number(written: str, what: str) -> float:
    """Read a decimal number, with point or comma, or a fraction such as ``3/16`` or ``1-1/2``."""
    if _THOUSANDS.fullmatch(written):
        raise WrongUse(f"{what} can be read in two ways", "Write it without a comma", written)
    if "/" not in written:
        return float(written.replace(",", "."))
    sign = -1.0 if written.startswith("-") else 1.0
    *whole, fraction = re.split("[ -]", written.lstrip("+-"))
    above, below = map(int, fraction.split("/"))
    if below == 0:
        raise WrongUse(f"{what} is divided by zero", "Check it", written)
    return sign * (sum(map(int, whole)) + above / below)


def _bounds(unit: Unit, more_than: float, least: float, most: float) -> str:
    named = (("more than", more_than), ("at least", least), ("at most", most))
    told = [f"{name} {(bound - unit.offset) / unit.factor:.4g}" for name, bound in named if math.isfinite(bound)]
    return f"{' and '.join(told)} {unit.symbol}"


def convert(value: float, kind: Kind, symbol: str) -> float:
    """Turn `value` from the inner unit of `kind` into the unit `symbol`."""
    unit = next(unit for unit in _UNITS[kind] if unit.symbol == symbol)
    return (value - unit.offset) / unit.factor


def symbols(kind: Kind) -> tuple[str, ...]:
    """Return the units in which a quantity of `kind` can be written."""
    return tuple(unit.symbol for unit in _UNITS[kind])


def shown(value: float, kind: Kind, system: System, digits: int = 3) -> str:
    """Write `value` (inner unit) in the system's unit of its kind, to `digits` significant digits."""
    unit = _time_unit(value) if kind is Kind.TIME else _UNITS[kind][0 if system is System.METRIC else 1]
    number = (value - unit.offset) / unit.factor
    return f"{_rounded(number, digits)} {unit.symbol}"


def span(low: float, high: float, kind: Kind, system: System, digits: int = 3) -> str:
    """Write a range of `kind`; a single value where both ends read the same."""
    first, last = shown(low, kind, system, digits), shown(high, kind, system, digits)
    return last if first == last else f"{first.partition(' ')[0]} to {last}"


def _time_unit(seconds: float) -> Unit:
    """Return seconds up to two minutes, minutes up to two hours, else hours."""
    second, minute, hour = _UNITS[Kind.TIME]
    if abs(seconds) < 2 * minute.factor:
        return second
    return minute if abs(seconds) < 2 * hour.factor else hour


def _rounded(number: float, digits: int) -> str:
    if number == 0 or not math.isfinite(number):
        return f"{number:g}"
    size = math.floor(math.log10(abs(number)))
    if size < _LEAST_SIZE:
        return f"{number:.{digits - 1}e}"
    return f"{number:.{max(0, digits - 1 - size)}f}"


_LEAST_SIZE = -4
"""Numbers below 0.0001 are written with a power of ten."""
