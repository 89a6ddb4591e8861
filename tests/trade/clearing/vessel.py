"""An invented bowser with two bays, ventilated and measured in order by a meter of known calibration."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone
from typing import Any

from prepcheck.settings import ClearingSettings
from prepcheck.trade.clearing import check_readings
from prepcheck.trade.entries import Gas, GasReading, Sensor, State, VesselCondition
from prepcheck.trade.facts import Remark, Weight

SETTINGS = ClearingSettings()
MADE_READY = datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=1)))
NOW = MADE_READY + timedelta(minutes=30)
PLACES = (("front bay", 0.1), ("rear bay", 0.9))
_USUAL: dict[Gas, dict[str, Any]] = {
    Gas.OXYGEN: {"value": 20.9, "sensor": Sensor.ELECTROCHEMICAL},
    Gas.FLAMMABLE: {"value": 0.0, "sensor": Sensor.CATALYTIC, "calibration_gas": "methane", "factor": 1.0},
    Gas.TOXIC: {"value": 0.0, "sensor": Sensor.ELECTROCHEMICAL, "of": "CO", "limit": 25.0, "limit_source": "own rule"},
}
_MINUTE = {Gas.OXYGEN: 10, Gas.FLAMMABLE: 12, Gas.TOXIC: 14}


def after(minutes: float) -> datetime:
    """Return the time so many minutes after the vessel was made ready."""
    return MADE_READY + timedelta(minutes=minutes)


def reading(gas: Gas, **changes: Any) -> GasReading:
    """Return one reading; `minute` counts from when the vessel was made ready."""
    minute = changes.pop("minute", _MINUTE[gas])
    usual = {
        "gas": gas, "place": "front bay", "height_m": 0.1, "meter": "meter 3",
        "calibrated_on": date(2026, 2, 20), "calibration_due": date(2026, 8, 20), "taken_at": after(minute),
    }  # fmt: skip
    return GasReading(**{**usual, **_USUAL[gas], **changes})


def readings(gases: tuple[Gas, ...] = tuple(Gas), **changes: dict[str, Any]) -> list[GasReading]:
    """Return a reading of each gas at both places; `oxygen={...}` and the like change those of one gas."""
    return [
        reading(gas, **{"place": place, "height_m": height, **changes.get(gas.value, {})})
        for gas in gases
        for place, height in PLACES
    ]


def condition(state: State = State.VENTILATED, **changes: Any) -> VesselCondition:
    """Return the condition of the vessel, made ready at `MADE_READY`."""
    usual = {"condition": state, "previous_contents": "diesel", "at": MADE_READY}
    return VesselCondition(**{**usual, **changes})


def inerted(**changes: Any) -> VesselCondition:
    """Return the vessel inerted with nitrogen in an aired room, hydrogen ruled out."""
    usual = {"purge_gas": "nitrogen", "room_ventilated": True, "hydrogen_possible": False}
    return condition(State.INERTED, **{**usual, **changes})


def remarks(made: list[GasReading], of: VesselCondition | None = None, **changes: Any) -> tuple[Remark, ...]:
    """Check `made`; `now` and `settings` can be changed."""
    return check_readings(of or condition(), made, changes.get("now", NOW), changes.get("settings", SETTINGS))


def holds(made: list[GasReading], of: VesselCondition | None = None, **changes: Any) -> set[str]:
    """Return the codes of what holds."""
    return codes(remarks(made, of, **changes), Weight.HOLD)


def codes(said: tuple[Remark, ...], weight: Weight) -> set[str]:
    """Return the codes of a weight."""
    return {one.code for one in said if one.weight is weight}
