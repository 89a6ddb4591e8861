"""Quantities inside sentences that prepcheck wrote itself, said in one system of units."""

from __future__ import annotations

import re

from prepcheck.record import PatchRecord
from prepcheck.report.words import length_words, patch_words
from prepcheck.trade.units import Kind, System, quantity, shown

_METRIC = {
    "mm": Kind.LENGTH, "cm": Kind.LENGTH, "m": Kind.HEIGHT, "mm²": Kind.AREA, "mm2": Kind.AREA, "cm²": Kind.AREA,
    "cm2": Kind.AREA, "mm³": Kind.SMALL_VOLUME, "mm3": Kind.SMALL_VOLUME, "cm³": Kind.SMALL_VOLUME,
    "cm3": Kind.SMALL_VOLUME, "m³": Kind.VOLUME, "m3": Kind.VOLUME, "L": Kind.VOLUME, "kPa": Kind.PRESSURE,
    "Pa": Kind.PRESSURE, "bar": Kind.PRESSURE, "mbar": Kind.PRESSURE, "kg": Kind.MASS, "g": Kind.MASS,
    "°C": Kind.TEMPERATURE, "L/min": Kind.GAS_FLOW, "kJ/mm": Kind.HEAT_INPUT, "mm/s": Kind.SPEED,
    "mm/min": Kind.SPEED, "cm/min": Kind.SPEED, "C": Kind.TEMPERATURE, "K": Kind.TEMPERATURE_STEP, "kJ": Kind.ENERGY,
    "J": Kind.ENERGY, "kN": Kind.FORCE, "N": Kind.FORCE, "kg/m3": Kind.DENSITY, "kg/L": Kind.DENSITY,
    "Pa m3/s": Kind.LEAK_RATE,
}  # fmt: skip
_US = {
    "in": Kind.LENGTH, "ft": Kind.HEIGHT, "in²": Kind.AREA, "in2": Kind.AREA, "in³": Kind.SMALL_VOLUME,
    "in3": Kind.SMALL_VOLUME, "ft³": Kind.VOLUME, "ft3": Kind.VOLUME, "gal": Kind.VOLUME, "psi": Kind.PRESSURE,
    "lb": Kind.MASS, "oz": Kind.MASS, "°F": Kind.TEMPERATURE, "cfh": Kind.GAS_FLOW, "kJ/in": Kind.HEAT_INPUT,
    "in/min": Kind.SPEED, "F": Kind.TEMPERATURE, "ft-lb": Kind.ENERGY, "lbf": Kind.FORCE, "lb/ft3": Kind.DENSITY,
    "std cm3/s": Kind.LEAK_RATE,
}  # fmt: skip
_FOREIGN = {System.US: _METRIC, System.METRIC: _US}
_NUMBER = r"-?(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?(?:e[+-]?\d+)?"
_STEP = r"(?P<step>change of )?"
_RUN = rf"{_STEP}(?<![\w.,-])(?P<numbers>{_NUMBER}(?:\s*(?:to|and|or|x|/|±)\s*{_NUMBER})*)\s?"
_AFTER = r"(?![\w²³/°])"
_IN_AS_A_WORD = r"in(?! (?:a|an|all|air|each|one|the|these|this|that|its|place|photo|photos|pass|passes|spot|CO2)\b)"


def said_in(sentence: str, system: System) -> str:
    """Return `sentence` with each quantity of the other system said in `system`, to three significant digits.

    Numbers joined by words such as *to* share the unit behind the last one. Only for sentences that prepcheck wrote:
    what people typed stays as they typed it.
    """
    kinds = _FOREIGN[system]
    longest_first = sorted(kinds, key=len, reverse=True)
    units = "|".join(_IN_AS_A_WORD if unit == "in" else re.escape(unit) for unit in longest_first)
    return re.sub(rf"{_RUN}(?P<unit>{units}){_AFTER}", lambda found: _said(found, kinds, system), sentence)


def _said(found: re.Match[str], kinds: dict[str, Kind], system: System) -> str:
    symbol, unit = found["unit"], ""
    kind = Kind.TEMPERATURE_STEP if symbol == "F" and found["step"] else kinds[symbol]

    def one(number: re.Match[str]) -> str:
        nonlocal unit
        inner = quantity(f"{number[0].replace(',', '')} {symbol}", kind, "a quantity")
        value, unit = shown(inner, kind, system).split(" ", 1)
        return value

    numbers = re.sub(_NUMBER, one, found["numbers"])
    return f"{found['step'] or ''}{numbers} {pretty_unit(unit)}"


def patch_in(patch: PatchRecord | None, system: System) -> str:
    """Say a patch as `patch_words` does, its length in `system`, turned from the length itself and not from its words."""
    words = patch_words(patch)
    if patch is None or patch.length_mm is None or system is System.METRIC:
        return words
    return words.removesuffix(length_words(patch.length_mm)) + pretty(shown(patch.length_mm, Kind.LENGTH, system))


def pretty(quantity: str) -> str:
    """Write the unit of a quantity with its signs: ``mm²``, ``°C``."""
    number, _, unit = quantity.partition(" ")
    return f"{number} {pretty_unit(unit)}"


def pretty_unit(unit: str) -> str:
    """Write a unit with its signs."""
    squared = re.sub(r"\b(mm|cm|m|in|ft)([23])\b", lambda found: found[1] + "²³"[int(found[2]) - 2], unit)
    return {"C": "°C", "F": "°F"}.get(unit, squared)


def with_signs(sentence: str) -> str:
    """Write the units of the quantities in a sentence that prepcheck wrote with their signs."""
    degrees = re.sub(rf"({_NUMBER}) ([CF])\b", r"\1 °\2", sentence)
    return pretty_unit(degrees)


def signed(text: str) -> str:
    """Write a quantity that stands alone with the signs of its unit; any other text stays."""
    return pretty(text) if re.fullmatch(rf"{_NUMBER} [A-Za-z/]+\d?", text) else text
