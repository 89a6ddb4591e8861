"""Everything of a job as tables (CSV) and as one JSON object, for spreadsheets and programs.

The tables are in the report's units, the unit at the end of a column's name; JSON holds the inner units of the log. Times
stand as they were logged, with their offsets.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from pydantic import TypeAdapter

from prepcheck import __version__
from prepcheck.report.job.spots import tied_spot
from prepcheck.report.job.told import Told
from prepcheck.store.rows import LoggedInspection, Story
from prepcheck.terms import State
from prepcheck.trade.units import Kind, System, convert

Row = dict[str, Any]
_US: dict[str, tuple[Kind, str]] = {
    "_mm": (Kind.LENGTH, "in"),
    "_m": (Kind.HEIGHT, "ft"),
    "_mm2": (Kind.AREA, "in2"),
    "_m3": (Kind.VOLUME, "ft3"),
    "_pa": (Kind.PRESSURE, "psi"),
    "_k": (Kind.TEMPERATURE, "F"),
}
"""Ends of names, and the US unit that takes their place."""
_F_PER_K = 1.8
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def csv_tables(told: Told) -> dict[str, str]:
    """Return the tables that have rows as CSV (RFC 4180): ``inspections``, ``disagreements``, ``events``, ``steps``."""
    places = _places(told)
    tables = {
        "inspections": [_inspection_row(told, one, places[one.number]) for one in told.inspections],
        "disagreements": [asdict(other) for one in told.inspections for other in one.disagreements],
        "events": _event_rows(told),
        "steps": _step_rows(told),
    }
    return {name: _csv([in_units(row, told.system) for row in rows]) for name, rows in tables.items() if rows}


def json_of(told: Told) -> str:
    """Return everything as one JSON object, in the log's own units (mm, m, Pa, K; the end of a name says which)."""
    story = TypeAdapter(Story).dump_python(told.story, mode="json")
    records = {
        str(number): record.model_dump(
            mode="json", exclude={"photo": {"position"}, "photos": {"__all__": {"position"}}}
        )
        for number, record in sorted(told.records.items())
    }
    everything = {
        "report_version": 1,
        "program": f"prepcheck {__version__}",
        "written_at": told.now.isoformat(timespec="seconds"),
        "invented": told.invented,
        "log": None if told.head is None else {"size": told.head.size, "root": told.head.root},
        **story,
        "records": records,
        "steps": _step_rows(told),
        "checks": [asdict(check) for check in told.checks],
    }
    return json.dumps(everything, ensure_ascii=False, indent=1) + "\n"


def in_units(row: Mapping[str, Any], system: System) -> Row:
    """Return a row with its lengths, pressures and so on in `system`, their columns named after the unit."""
    return dict(_in_units(name, value, system) for name, value in row.items())


def _in_units(name: str, value: Any, system: System) -> tuple[str, Any]:
    stem, _, end = name.rpartition("_")
    if system is System.METRIC or f"_{end}" not in _US or not stem:
        return name, value
    kind, symbol = _US[f"_{end}"]
    told = f"{stem}_{symbol.lower()}"
    if not isinstance(value, float | int):
        return told, value
    difference = kind is Kind.TEMPERATURE and stem.endswith("error")
    return told, value * _F_PER_K if difference else convert(value, kind, symbol)


def _csv(rows: list[Row]) -> str:
    """Write rows with all columns that any of them has; a text that a spreadsheet would run gets a ``'`` before it."""
    heads = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(heads)
    writer.writerows([_cell(row.get(name)) for name in heads] for row in rows)
    return text.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(("'", *_FORMULA)) else value
    if isinstance(value, dict | list | tuple):
        return json.dumps(value, ensure_ascii=False)
    return str(value)


def _inspection_row(told: Told, one: LoggedInspection, place: tuple[int, int]) -> Row:
    spot, pass_no = place
    low, high = one.interval or (None, None)
    record = told.records.get(one.number)
    return {
        "inspection": one.number,
        "spot": spot,
        "pass_no": pass_no,
        "at": one.at,
        "person": one.person,
        "standing": one.standing.value,
        "tool_standing": one.tool_standing.value,
        "bright_share": one.bright_share,
        "interval_low": low,
        "interval_high": high,
        **_shares(told, one),
        "reason": told.tool(one.reason),
        "flags": " ".join(flag.code for flag in one.flags),
        "note": one.note,
        "corrects": one.corrects,
        "photo": one.photo_name,
        "photo_sha256": one.photo_sha256,
        "taken": one.taken,
        "origin": one.origin,
        "model_sha256": record.origin.model_sha256 if record else None,
        "settings_sha256": record.origin.settings_sha256 if record else None,
    }


def _places(told: Told) -> dict[int, tuple[int, int]]:
    """Return spot and pass of each inspection, by its number."""
    return {
        one.number: (spot.number, each.pass_no)
        for spot in told.story.spots
        for each in spot.passes
        for one in each.inspections
    }


def _shares(told: Told, one: LoggedInspection) -> Row:
    tied = tied_spot(told, one)
    if tied is None:
        return {}
    shares = {f"share_{state.key}": tied.shares.get(state.key) for state in State if state is not State.BACKGROUND}
    return {
        **shares,
        "area_mm2": tied.area_mm2,
        "worst_unit_area": tied.worst_unit_area,
        "largest_patch_mm": tied.largest_patch_mm,
    }


def _event_rows(told: Told) -> list[Row]:
    rows = []
    for event in told.story.events:
        entry = {"kind": "erased entry"} if event.entry is None else event.entry.model_dump(mode="json")
        logged = {"entry": event.number, "logged_at": event.at, "logged_by": event.person, "role": event.role}
        rows.append({**logged, **entry})
    return rows


def _step_rows(told: Told) -> list[Row]:
    if told.state is None:
        return []
    return [
        {
            "step": state.step.name,
            "title": state.step.title,
            "hold_point": state.step.hold_point,
            "progress": state.progress.value,
            "did": state.did,
            "did_at": state.did_at,
            "by": state.by,
            "role": state.role,
            "at": state.at,
            "began_at": state.began_at,
            "note": state.note,
            "against": list(state.against),
            "blocks": [one.text for one in state.blocks],
        }
        for state in told.state.steps
    ]
