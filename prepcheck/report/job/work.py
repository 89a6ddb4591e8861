"""Wall, weld starting values, leak tests and notes: entries and plans as they were logged, none computed again."""

from __future__ import annotations

from prepcheck.report.job.content import Block, Facts, Points, Section, Table, Tone, Words
from prepcheck.report.job.told import Told, by
from prepcheck.report.job.units import signed
from prepcheck.store.rows import LoggedEvent
from prepcheck.trade import entries as e
from prepcheck.trade.facts import Remark
from prepcheck.trade.units import Kind, System

METHODS = {"gauge": "gauge", "depth": "depth of the ground-out", "before_after": "gauge before and after"}
LOOKS = {"bubbles": "bubble test", "decay": "pressure watched over time", "water": "water held"}
_WEIGHTS = {"hold": "Speaks against it", "warn": "Mind", "note": "Note"}
WELD_NOTE = "Starting values only: the shop's qualified welding procedure rules, and a test piece comes first."


def wall(told: Told) -> Section:
    """Tell the readings of the wall."""
    rows = tuple(
        (
            "-" if entry.spot is None else str(entry.spot),
            entry.place or "-",
            METHODS[entry.method],
            told.say(entry.wall_mm, Kind.LENGTH) + _give_or_take(told, entry.uncertainty_mm),
            told.say(entry.nominal_mm, Kind.LENGTH),
            _ground_out(told, entry),
            entry.instrument or "not told",
            f"{told.when(entry.taken_at)}, {by(event)}",
        )
        for event, entry in told.of(e.WallReading)
    )
    heads = ("Spot", "Place", "Method", "Wall left", "Nominal", "Ground out", "Instrument", "Taken, by")
    table = Table("Wall readings", heads, rows, (9, 18, 16, 18, 13, 16, 16, 23))
    blocks: list[Block] = [table] if rows else [Words("No reading of the wall is logged.")]
    return Section("Wall", (*blocks, *remarks(told, "wall"), *plans(told, "wall")))


def _ground_out(told: Told, entry: e.WallReading) -> str:
    depth = told.say(entry.depth_mm, Kind.LENGTH, 2)
    return depth if entry.area_mm2 is None else f"{depth} over {told.say(entry.area_mm2, Kind.AREA)}"


def _give_or_take(told: Told, mm: float | None) -> str:
    return "" if mm is None else f" ± {told.say(mm, Kind.LENGTH, 2)}"


def weld(told: Told) -> Section:
    """Tell the weld's starting values as planned."""
    planned = plans(told, "weld") or [Words("No starting values are logged.")]
    return Section("Weld starting values", (Words(WELD_NOTE, tone=Tone.CAUTION), *remarks(told, "weld"), *planned))


def leak(told: Told) -> Section:
    """Tell plans of leak tests and what was seen."""
    tests: list[Block] = [_leak(told, event, entry) for event, entry in told.of(e.LeakEntry)]
    seen = tests or [Words("No leak test is logged.")]
    return Section("Leak tests", (*seen, *_looks(told), *remarks(told, "leak"), *plans(told, "leak")))


def _looks(told: Told) -> list[Block]:
    rows = tuple(
        (one.label, told.tool(f"{one.value} ({one.source})" if one.source else one.value)) for one in told.looks
    )
    return [Facts("What the looks show, in the order in which they were made", rows)] if rows else []


def _leak(told: Told, event: LoggedEvent, entry: e.LeakEntry) -> Facts:
    pressure = (
        "" if entry.pressure_error_pa is None else f", each ± {told.say(entry.pressure_error_pa, Kind.PRESSURE, 2)}"
    )
    temperature = (
        "" if entry.temperature_error_k is None else f", each ± {_difference(told, entry.temperature_error_k)}"
    )
    seconds = None if entry.seconds is None else f"{entry.seconds / 60:g} min"
    rows = (
        ("Started", told.when(entry.started_at)),
        ("Medium", entry.medium or "not told"),
        ("Volume", told.say(entry.volume_m3, Kind.VOLUME)),
        ("Gauge pressure", _from_to(told, entry.start_pa, entry.end_pa, Kind.PRESSURE) + pressure),
        ("Temperature", _from_to(told, entry.start_k, entry.end_k, Kind.TEMPERATURE) + temperature),
        ("Air pressure around", _from_to(told, entry.ambient_pa, entry.end_ambient_pa, Kind.PRESSURE)),
        ("Watched for", seconds or "not told"),
        ("Gauge", entry.gauge or "not told"),
        ("Looked at", entry.looked_at or "not told"),
        (
            "Leaks seen",
            "; ".join(entry.leaks) or ("none seen at the places looked at" if entry.looked_at else "not told"),
        ),
        ("Logged", f"{told.when(event.at)} by {by(event)}"),
    )
    return Facts(f"{LOOKS[entry.method].capitalize()} on {told.when(entry.started_at)}", rows)


def _difference(told: Told, kelvin: float) -> str:
    """Say a difference of temperatures: 1 K is 1 degree Celsius or 9/5 of one Fahrenheit, without an offset."""
    return f"{kelvin:g} °C" if told.system is System.METRIC else f"{1.8 * kelvin:g} °F"


def _from_to(told: Told, start: float | None, end: float | None, kind: Kind) -> str:
    if start is None and end is None:
        return "not told"
    digits = 3 if kind is Kind.TEMPERATURE else 4
    if end is None:
        return told.say(start, kind, digits)
    return f"{told.say(start, kind, digits)} at the start, {told.say(end, kind, digits)} at the end"


def notes(told: Told) -> Section:
    """Tell the notes."""
    rows = tuple((f"{told.when(event.at)}, {by(event)}", entry.text) for event, entry in told.of(e.Note))
    return Section("Notes", (Facts("Notes", rows),) if rows else (Words("No note is logged."),))


def plans(told: Told, what: str) -> list[Block]:
    """Tell the plans of a kind, as they were printed; the last one whole, earlier ones by their time."""
    made = [(event, entry) for event, entry in told.of(e.PlanMade) if entry.what == what]
    if not made:
        return []
    *older, (event, last) = made
    before = f" Earlier plans, replaced by it: {', '.join(told.when(one.at) for one, _ in older)}." if older else ""
    head = Words(f"made {told.when(event.at)} by {by(event)}, told as it was logged.{before}", f"Plan of {what}:")
    given = tuple((name, told.tool(signed(value))) for name, value in last.inputs.items())
    lines = tuple((told.tool(label), told.tool(text)) for label, text in last.lines)
    said = tuple(f"{_WEIGHTS.get(weight, weight)}: {told.tool(text)}" for weight, text in last.remarks)
    blocks: list[Block] = [head]
    blocks += [Facts("What was given", given)] if given else []
    blocks += [Facts("What was worked out, with sources", lines)] if lines else []
    return blocks + ([Points(said)] if said else [])


def remarks(told: Told, about: str) -> list[Block]:
    """Tell what checks had to say about a part of the record, heaviest first."""
    blocks: list[Block] = []
    for check in told.checks:
        if check.about == about:
            points = tuple(_remark(told, one) for one in check.remarks)
            when = "at the time of writing" if check.when == "now" else check.when
            blocks += [Words(f"{when}:", "What the checks say of it,"), Points(points)]
    return blocks


def _remark(told: Told, one: Remark) -> str:
    source = f" ({told.tool(one.source)})" if one.source else ""
    return f"{_WEIGHTS[one.weight]}: {told.tool(one.text)}{source}"
