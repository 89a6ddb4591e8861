"""The clearing record: conditions of the vessel, who certified it, gas readings with their meters."""

from __future__ import annotations

from prepcheck.report.job.content import Block, Facts, Section, Table, Tone, Words
from prepcheck.report.job.told import Told, by
from prepcheck.report.job.work import plans, remarks
from prepcheck.store.rows import LoggedEvent
from prepcheck.trade import entries as e
from prepcheck.trade.units import Kind

LIMITS_NOTE = (
    "These are readings at the places and times stated, in the condition stated, as the person named entered them. Limits, "
    "with their sources, stand in the clearing plan below. Whoever the law names decides; a reading ages, and smell proves "
    "nothing."
)


def clearing(told: Told) -> Section:
    """Tell the clearing record."""
    conditions = [_condition(told, *one) for one in told.of(e.VesselCondition)]
    certificates = [_certificate(told, *one) for one in told.of(e.Certificate)]
    readings = told.of(e.GasReading)
    blocks: list[Block] = [Words(LIMITS_NOTE, tone=Tone.CAUTION)]
    blocks += conditions or [Words("No condition of a vessel is logged.")]
    blocks += certificates or [Words("No certificate is logged.")]
    blocks += _readings(told, readings) if readings else [Words("No gas reading is logged.")]
    return Section("Clearing record", (*blocks, *remarks(told, "clearing"), *plans(told, "clearing")))


def _condition(told: Told, event: LoggedEvent, entry: e.VesselCondition) -> Facts:
    rows = (
        ("Previous contents", entry.previous_contents),
        ("Cleaning done", entry.cleaning_done or "not told"),
        ("Purge gas", entry.purge_gas or "none told"),
        ("Water's surface to weld", told.say(entry.water_gap_mm, Kind.LENGTH)),
        ("Room ventilated", "yes" if entry.room_ventilated else "not told to be"),
        ("Rooms between baffles", str(entry.bays)),
        ("Hydrogen possible in voids", "yes" if entry.hydrogen_possible else "ruled out by who logged it"),
        ("At", told.when(entry.at)),
        ("Logged", f"{told.when(event.at)} by {by(event)}"),
    )
    return Facts(f"Condition: {entry.condition}", rows)


def _certificate(told: Told, event: LoggedEvent, entry: e.Certificate) -> Facts:
    rows = (
        ("Certified by", entry.certified_by),
        ("Under the rule", entry.rule),
        ("Number", entry.number or "not told"),
        ("Place", entry.place or "not told"),
        ("At", told.when(entry.at)),
        ("Logged", f"{told.when(event.at)} by {by(event)}"),
    )
    return Facts("Certificate", rows)


def _readings(told: Told, readings: list[tuple[LoggedEvent, e.GasReading]]) -> list[Block]:
    rows = tuple(
        (
            told.when(entry.taken_at),
            _place(told, entry),
            _gas(entry),
            _value(entry),
            by(event),
        )
        for event, entry in readings
    )
    taken = Table("Gas readings", ("Taken", "Place, height", "Gas", "Reading", "By"), rows, (21, 30, 20, 24, 20))
    meters = dict.fromkeys(_meter(told, entry) for _, entry in readings)
    heads = ("Meter", "Sensor", "Gas", "Sees hydrogen", "Calibration gas", "Factor", "Calibrated", "Due")
    return [taken, Table("Meters used", heads, tuple(meters), (20, 19, 15, 14, 17, 9, 15, 15))]


def _place(told: Told, entry: e.GasReading) -> str:
    return entry.place if entry.height_m is None else f"{entry.place}, {told.say(entry.height_m, Kind.HEIGHT, 2)}"


def _gas(entry: e.GasReading) -> str:
    return f"{entry.gas} ({entry.of})" if entry.of else entry.gas.value


def _value(entry: e.GasReading) -> str:
    unit = entry.gas.unit
    if entry.limit is None:
        return f"{entry.value:g} {unit}"
    return f"{entry.value:g} {unit}; limit as entered {entry.limit:g} {unit} ({entry.limit_source or 'no source told'})"


def _meter(told: Told, entry: e.GasReading) -> tuple[str, ...]:
    return (
        entry.meter or "not told",
        entry.sensor.value,
        entry.gas.value,
        {None: "not looked up", True: "yes", False: "no"}[entry.sees_hydrogen],
        entry.calibration_gas or "not told",
        f"{entry.factor:g}",
        str(entry.calibrated_on or "not told"),
        str(entry.calibration_due or "not told"),
    )
