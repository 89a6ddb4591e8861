"""Entries of what was measured, each made of what a person typed: a wall that is left, a look for leaks."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from prepcheck.errors import WrongUse
from prepcheck.trade import typed
from prepcheck.trade.entries import LeakEntry, WallReading
from prepcheck.trade.units import Kind, optional_quantity, quantity

Said = Mapping[str, str]
"""What was typed, by name; several of one kind stand on a line each, and what was left out is not there."""
LOOK = {
    "volume": ("volume_m3", Kind.VOLUME, "the volume"),
    "pressure": ("start_pa", Kind.PRESSURE, "the pressure"),
    "end_pressure": ("end_pa", Kind.PRESSURE, "the pressure at the end"),
    "watched": ("seconds", Kind.TIME, "the time watched"),
    "temperature": ("start_k", Kind.TEMPERATURE, "the temperature"),
    "end_temperature": ("end_k", Kind.TEMPERATURE, "the temperature at the end"),
    "air_pressure": ("ambient_pa", Kind.PRESSURE, "the pressure of the air"),
    "end_air_pressure": ("end_ambient_pa", Kind.PRESSURE, "the pressure of the air at the end"),
    "pressure_error": ("pressure_error_pa", Kind.PRESSURE, "the error of the gauge"),
    "temperature_error": ("temperature_error_k", Kind.TEMPERATURE_STEP, "the error of the thermometer"),
}
"""What can be read at a look for leaks: the field of `LeakEntry`, what it is a quantity of, and how it is called."""


def look_for_leaks(said: Said, *, method: str, started_at: datetime) -> LeakEntry:
    """Make the entry of a look for leaks.

    Raises
    ------
    WrongUse
        A quantity cannot be read or cannot be, or the air's pressure was read only at the end.
    """
    if "end_air_pressure" in said and "air_pressure" not in said:
        what = "the air's pressure was read only at the end"
        raise WrongUse(what, "Give that at the start too, or neither", command="--air-pressure")
    read = {field: quantity(said[name], kind, what) for name, (field, kind, what) in LOOK.items() if name in said}
    texts = {name: said[name] for name in ("medium", "looked_at", "gauge") if name in said}
    leaks = typed.lines(said.get("leaks"))
    return typed.made(LeakEntry, method=method, started_at=started_at, leaks=leaks, **texts, **read)


def wall_reading(said: Said, *, method: str, spot: int | None, taken_at: datetime) -> WallReading:
    """Make the entry of a wall, by ``gauge``, by ``depth`` of the ground-out, or by gauge ``before_after``.

    Raises
    ------
    WrongUse
        No such method, or a quantity is missing, cannot be read or cannot be.
    """
    return typed.made(
        WallReading,
        **_wall(said, method),
        method=method,
        spot=spot,
        place=said.get("place", ""),
        area_mm2=optional_quantity(said.get("area"), Kind.AREA, "the area"),
        uncertainty_mm=optional_quantity(said.get("error"), Kind.LENGTH, "the error"),
        instrument=said.get("instrument", ""),
        taken_at=taken_at,
    )


def _wall(said: Said, method: str) -> dict[str, float | None]:
    """Work out the wall left, the nominal one and the depth in mm."""
    if method == "depth":
        whole, deep = _length(said, "nominal", "the nominal wall"), _length(said, "depth", "the depth")
        return {"wall_mm": whole - deep, "nominal_mm": whole, "depth_mm": deep}
    if method not in ("gauge", "before_after"):
        raise WrongUse("is no way to measure a wall", "Choose one of gauge, depth, before_after", method[:40])
    first = _length(said, "before", "the wall before") if method == "before_after" else None
    left = _length(said, "wall", "the wall left")
    nominal = optional_quantity(said.get("nominal"), Kind.LENGTH, "the nominal wall")
    return {"wall_mm": left, "nominal_mm": nominal, "depth_mm": None if first is None else first - left}


def _length(said: Said, name: str, what: str) -> float:
    return quantity(typed.needed(said.get(name), what), Kind.LENGTH, what)
