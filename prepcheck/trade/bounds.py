"""Refusing numbers that cannot be: the checks at the door of every computation of the trade."""

from __future__ import annotations

import math

from prepcheck.errors import WrongUse
from prepcheck.trade.units import Kind, System, shown


def bounded(
    value: float, what: str, unit: str, *, more_than: float | None = None, least: float = 0.0, most: float
) -> float:
    """Return `value` when it is a finite number within bounds.

    Parameters
    ----------
    value : float
        The number, in `unit`.
    what, unit : str
        What it is called and its unit, for the error.
    more_than : float, optional
        Bound that is itself left out; replaces `least`.
    least, most : float
        Bounds that are themselves allowed.

    Raises
    ------
    WrongUse
        Not finite, or out of bounds.
    """
    enough = value > more_than if more_than is not None else value >= least
    if not (math.isfinite(value) and enough and value <= most):
        low = f"more than {_told(more_than, unit)}" if more_than is not None else f"at least {_told(least, unit)}"
        raise WrongUse(
            f"{what} is out of range", f"It has to be {low} and at most {_told(most, unit)}", _told(value, unit)
        )
    return value


_KINDS = {
    "mm": Kind.LENGTH, "m": Kind.HEIGHT, "mm2": Kind.AREA, "m3": Kind.VOLUME, "Pa": Kind.PRESSURE, "K": Kind.TEMPERATURE,
    "kg/m3": Kind.DENSITY, "L/min": Kind.GAS_FLOW, "mm/s": Kind.SPEED,
}  # fmt: skip


def _told(value: float, unit: str) -> str:
    """Say a bound in both systems, as nobody here knows in which one the person wrote."""
    kind = _KINDS.get(unit)
    if value == 0 and kind is not Kind.TEMPERATURE:
        return "0"
    if kind is None or not math.isfinite(value):
        return f"{value:g} {unit}".strip()
    return f"{shown(value, kind, System.METRIC)} ({shown(value, kind, System.US)})"
