"""What people log besides photos, as forms: fields bear the names, and numbers the units, of the entries in the log."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from prepcheck.store.words import NOTE, TITLE
from prepcheck.trade import entries as e
from prepcheck.trade import typed
from prepcheck.trade.measured import look_for_leaks, wall_reading
from prepcheck.trade.units import Kind, optional_quantity
from prepcheck.web.pages.forms import Field, Said, choices, moment, needed, number, whole

_TAKEN = Field("taken_at", "Taken at", 'Such as "13:40"; now if left empty', "time", most=20)
_AT = Field("at", "Since when", 'Such as "13:40"; now if left empty', "time", most=20)
_LINE = 200


@dataclass(frozen=True)
class EntryForm:
    """One kind of entry: what is asked, what is asked rarely, and how the entry is made from it."""

    name: str
    words: str
    fields: tuple[Field, ...]
    make: Callable[[Said, datetime], e.AnyEntry]
    rarely: tuple[Field, ...] = ()


def _reading(said: Said, now: datetime) -> e.GasReading:
    sees = {"yes": True, "no": False}.get(said.get("sees_hydrogen", ""))
    return typed.made(
        e.GasReading,
        **_texts(said, "of", "meter", "calibration_gas", "limit_source"),
        gas=needed(said, "gas", "the gas"),
        value=number(said, "value", "the reading"),
        place=needed(said, "place", "the place"),
        height_m=number(said, "height_m", "the height"),
        sensor=said.get("sensor", e.Sensor.OTHER.value),
        factor=number(said, "factor", "the factor") or 1.0,
        calibrated_on=typed.day(said.get("calibrated_on"), "the day of calibration"),
        calibration_due=typed.day(said.get("calibration_due"), "the due day"),
        sees_hydrogen=sees,
        limit=number(said, "limit", "the limit"),
        taken_at=moment(said, "taken_at", now, "the time of the reading"),
    )


def _condition(said: Said, now: datetime) -> e.VesselCondition:
    return typed.made(
        e.VesselCondition,
        **_texts(said, "cleaning_done", "purge_gas"),
        condition=needed(said, "condition", "the condition"),
        previous_contents=needed(said, "previous_contents", "what it held"),
        water_gap_mm=optional_quantity(said.get("water_gap"), Kind.LENGTH, "the distance of the water"),
        room_ventilated="room_ventilated" in said,
        hydrogen_possible="no_hydrogen" not in said,
        bays=whole(said, "bays", "the number of rooms") or 1,
        at=moment(said, "at", now, "the time"),
    )


def _certificate(said: Said, now: datetime) -> e.Certificate:
    return typed.made(
        e.Certificate,
        **_texts(said, "number", "place"),
        certified_by=needed(said, "certified_by", "who certified it"),
        rule=needed(said, "rule", "the rule"),
        at=moment(said, "at", now, "the time"),
    )


def _wall(said: Said, now: datetime) -> e.WallReading:
    how = needed(said, "method", "how it was measured")
    taken_at = moment(said, "taken_at", now, "the time of the reading")
    return wall_reading(said, method=how, spot=whole(said, "spot", "the spot"), taken_at=taken_at)


def _leak(said: Said, now: datetime) -> e.LeakEntry:
    how = needed(said, "method", "how leaks were looked for")
    return look_for_leaks(said, method=how, started_at=moment(said, "taken_at", now, "the start"))


def _note(said: Said, now: datetime) -> e.Note:
    return typed.made(e.Note, text=needed(said, "text", "the note"))


def _texts(said: Said, *names: str) -> dict[str, str]:
    return {name: said.get(name, "") for name in names}


FORMS: dict[str, EntryForm] = {
    "reading": EntryForm(
        "Gas reading",
        "Take oxygen first, then flammable, then toxic, at each place.",
        (
            Field("gas", "Gas", kind="choice", needed=True,
                  choices=(("oxygen", "oxygen, % by volume"), ("flammable", "flammable, % LEL"), ("toxic", "toxic, ppm"))),
            Field("value", "Reading", "The number alone, in the unit above", "number", needed=True, most=40),
            Field("place", "Place", 'Where in the vessel, such as "sump, behind the baffle"', needed=True, most=_LINE),
            Field("height_m", "Height over the bottom in m", "Vapour lies low, hydrogen rises", "number", most=12),
            Field("of", "Of which gas or vapour", "Name of the toxic gas, or of the vapour looked for"),
            Field("meter", "Meter", "So that it can be looked up", most=_LINE),
        ),
        _reading,
        (
            Field("sensor", "How it senses", "A catalytic one reads low without oxygen", "list",
                  choices(sorted(e.Sensor, key=lambda one: one is not e.Sensor.OTHER)), value="other"),
            Field("sees_hydrogen", "Sees hydrogen", "As its handbook says", "list",
                  (("", "not looked up"), ("yes", "yes"), ("no", "no"))),
            Field("calibration_gas", "Calibrated with"),
            Field("factor", "Factor for this vapour", "1 if left empty", "number", most=12),
            Field("calibrated_on", "Calibrated on", kind="day", most=10),
            Field("calibration_due", "Calibration due", kind="day", most=10),
            Field("limit", "Limit of the toxic gas in ppm", "As your rule says", "number", most=12),
            Field("limit_source", "Where that limit stands", most=_LINE),
            _TAKEN,
        ),
    ),
    "condition": EntryForm(
        "Condition",
        "How the vessel was made ready. Readings taken before it do not count for it.",
        (
            Field("condition", "Condition", kind="choice", choices=choices(e.State), needed=True),
            Field("previous_contents", "What it held", "All it ever held, or: unknown", needed=True, most=TITLE),
            Field("cleaning_done", "How it was cleaned", kind="text area", most=NOTE),
            Field("purge_gas", "Purged with"),
            Field("room_ventilated", "The room is aired too", kind="tick"),
            Field("bays", "Rooms between baffles", "1 without baffles", "whole", value="1", most=3),
            _AT,
        ),
        _condition,
        (
            Field("water_gap", "From the weld down to the water", 'With its unit, such as "25 mm"'),
            Field("no_hydrogen", "I ruled out hydrogen from corrosion in closed voids", kind="tick"),
        ),
    ),
    "certificate": EntryForm(
        "Certificate",
        "Who tested and certified the vessel, under which rule.",
        (
            Field("certified_by", "Who", needed=True, most=_LINE),
            Field("rule", "Under which rule", needed=True, most=_LINE),
            Field("number", "Number"),
            Field("place", "Where it is posted", most=_LINE),
            Field("at", "When", 'Such as "13:40"; now if left empty', "time", most=20),
        ),
        _certificate,
    ),
    "wall": EntryForm(
        "Wall left",
        "By gauge, by gauge before and after, or by the depth of the ground-out.",
        (
            Field("method", "How", kind="choice", needed=True,
                  choices=(("gauge", "gauge"), ("depth", "nominal wall less depth"), ("before_after", "gauge before and after"))),
            Field("wall", "Wall left, by gauge", 'With its unit, such as "3.9 mm"'),
            Field("nominal", "Nominal wall", 'Such as "5 mm"'),
            Field("depth", "Depth of the ground-out", "By depth gauge"),
            Field("before", "Wall before grinding, by gauge"),
            Field("spot", "Number of the spot", kind="whole", most=3),
            Field("place", "Place", "Where on the part", most=_LINE),
        ),
        _wall,
        (
            Field("area", "Area of the ground-out", 'Such as "900 mm2"'),
            Field("error", "Error of the gauge", "95% half width"),
            Field("instrument", "Gauge", "So that it can be looked up", most=_LINE),
            _TAKEN,
        ),
    ),
    "leak": EntryForm(
        "Look for leaks",
        "With no leak named, it says that none was seen at the places looked at.",
        (
            Field("method", "How", kind="choice", needed=True,
                  choices=(("bubbles", "bubbles"), ("decay", "pressure watched over time"), ("water", "water held"))),
            Field("looked_at", "Looked at", "Every seam and fitting by name", "text area", most=NOTE),
            Field("leaks", "Leaks seen", "One place on each line", "text area", most=NOTE),
            Field("medium", "With what", "Air, nitrogen, water", most=_LINE),
            Field("pressure", "Gauge pressure", 'With its unit, such as "20 kPa"'),
        ),
        _leak,
        (
            Field("end_pressure", "Gauge pressure at the end"),
            Field("watched", "Watched for", 'Such as "10 min"'),
            Field("temperature", "Temperature of the gas", 'Such as "18 C"'),
            Field("end_temperature", "Temperature at the end"),
            Field("volume", "Volume", 'Such as "400 L"'),
            Field("air_pressure", "Pressure of the air around", 'Such as "1013 mbar"'),
            Field("gauge", "Gauge", "So that it can be looked up", most=_LINE),
            Field("taken_at", "Started at", 'Such as "13:40"; now if left empty', "time", most=20),
        ),
    ),
    "note": EntryForm(
        "Note", "Anything worth keeping about the job.",
        (Field("text", "Note", kind="text area", needed=True, most=NOTE),), _note,
    ),
}  # fmt: skip
"""By the word in the address."""
