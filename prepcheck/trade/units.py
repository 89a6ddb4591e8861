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
    GAS_FLOW = "gas flow"  # L/min
    TIME = "time"  # s
    SPEED = "travel speed"  # mm/s
    HEAT_INPUT = "heat input"  # kJ/mm


INCH_MM = 25.4
FOOT_M = 0.3048
POUND_KG = 0.45359237
GALLON_M3 = 231 * (INCH_MM / 1000) ** 3
CUBIC_FOOT_M3 = FOOT_M**3
PSI_PA = POUND_KG * 9.80665 / (INCH_MM / 1000) ** 2

_UNITS: dict[Kind, tuple[Unit, ...]] = {
    Kind.LENGTH: (Unit("mm", 1.0), Unit("in", INCH_MM), Unit("cm", 10.0), Unit("m", 1000.0), Unit("ft", 304.8)),
    Kind.HEIGHT: (Unit("m", 1.0), Unit("ft", FOOT_M), Unit("cm", 0.01), Unit("mm", 0.001), Unit("in", 0.0254)),
    Kind.AREA: (Unit("mm2", 1.0), Unit("in2", INCH_MM**2), Unit("cm2", 100.0)),
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
    Kind.GAS_FLOW: (Unit("L/min", 1.0), Unit("cfh", CUBIC_FOOT_M3 * 1000 / 60)),
    Kind.TIME: (Unit("s", 1.0), Unit("min", 60.0), Unit("h", 3600.0)),
    Kind.SPEED: (Unit("mm/s", 1.0), Unit("in/min", INCH_MM / 60), Unit("cm/min", 10 / 60), Unit("mm/min", 1 / 60)),
    Kind.HEAT_INPUT: (Unit("kJ/mm", 1.0), Unit("kJ/in", 1 / INCH_MM)),
}  # fmt: skip
"""The first unit is the metric one that is shown, the second the US one; for time and temperature see `shown`."""

_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
_WRITTEN = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z/°²³0-9]*)\s*")


def quantity(text: str, kind: Kind, what: str) -> float:
    """Read a quantity with its unit, such as ``5 mm`` or ``1.5 gal``, as a number in the inner unit of `kind`.

    A number without a unit is refused: it is the usual way to mix systems up.

    Raises
    ------
    WrongUse
        No finite number, no unit, or a unit of another kind.
    """
    units = {unit.symbol: unit for unit in _UNITS[kind]}
    written = _WRITTEN.fullmatch(text[:60].replace("²", "2").replace("³", "3").replace("°", ""))
    known = ", ".join(units)
    if written is None:
        raise WrongUse(f"{what} is no number with a unit", f"Write it like 12 {next(iter(units))} ({known})", text[:60])
    unit = units.get(written[2])
    if unit is None:
        said = "has no unit" if not written[2] else f"has a unit that is not one of {known}"
        raise WrongUse(f"{what} {said}", f"Write it like 12 {next(iter(units))}", text[:60])
    value = float(written[1].replace(",", ".")) * unit.factor + unit.offset
    if not math.isfinite(value):
        raise WrongUse(f"{what} is too large", "Check it", text[:60])
    return value


def convert(value: float, kind: Kind, symbol: str) -> float:
    """Turn `value` from the inner unit of `kind` into the unit `symbol`."""
    unit = next(unit for unit in _UNITS[kind] if unit.symbol == symbol)
    return (value - unit.offset) / unit.factor


def shown(value: float, kind: Kind, system: System, digits: int = 3) -> str:
    """Write `value` (inner unit) in the system's unit of its kind, to `digits` significant digits."""
    unit = _UNITS[kind][0 if system is System.METRIC or kind is Kind.TIME else 1]
    number = (value - unit.offset) / unit.factor
    return f"{_rounded(number, digits)} {unit.symbol}"


def _rounded(number: float, digits: int) -> str:
    if number == 0 or not math.isfinite(number):
        return f"{number:g}"
    places = max(0, digits - 1 - math.floor(math.log10(abs(number))))
    return f"{number:.{places}f}"
