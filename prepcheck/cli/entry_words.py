"""What people entered about a job, each entry in one line for a terminal, in metric units."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from prepcheck.trade import entries as e
from prepcheck.trade.units import Kind, System, shown

if TYPE_CHECKING:
    from prepcheck.store import LoggedEvent

_UNITS = {e.Gas.OXYGEN: "% by volume", e.Gas.FLAMMABLE: "% LEL", e.Gas.TOXIC: "ppm"}


def entry_words(event: LoggedEvent) -> str:
    """Return one line about a logged entry."""
    entry = event.entry
    return "erased" if entry is None else "; ".join(filter(None, _parts(entry)))


def _parts(entry: e.AnyEntry) -> Iterator[str]:
    if isinstance(entry, e.GasReading):
        yield from _reading(entry)
    elif isinstance(entry, e.VesselCondition):
        yield from _condition(entry)
    elif isinstance(entry, e.WallReading):
        yield from _wall(entry)
    elif isinstance(entry, e.LeakEntry):
        yield from _leak(entry)
    else:
        yield _short(entry)


def _short(entry: e.AnyEntry) -> str:
    match entry:
        case e.Certificate():
            return f"certified by {entry.certified_by} under {entry.rule}"
        case e.PlanMade():
            return f"plan made: {entry.what}"
        case e.WorkChosen():
            return f"plan of steps: {entry.work}"
        case e.StepDone():
            return f"{entry.step} done{' although held' if entry.against else ''}{_more(entry.note)}"
        case e.StepReleased():
            return f"{entry.step} released{' by override' if entry.override else ''}{_more(entry.reason)}"
        case e.StepReopened():
            return f"{entry.step} opened again: {entry.reason}"
        case e.Note():
            return f"note: {entry.text}"
        case e.Sealed():
            return f"sealed: {entry.bag}"
        case e.Erased():
            return f"erased {entry.what}: {entry.reason}"
    return entry.kind


def _more(text: str) -> str:
    return f": {text}" if text else ""


def _reading(entry: e.GasReading) -> Iterator[str]:
    yield f"{entry.gas}{f' ({entry.of})' if entry.of else ''} {entry.value:g} {_UNITS[entry.gas]}"
    height = "" if entry.height_m is None else f", {shown(entry.height_m, Kind.HEIGHT, System.METRIC, 2)} up"
    yield f"{entry.place}{height} at {entry.taken_at:%H:%M}"
    yield f"{entry.meter}, {entry.sensor}" if entry.meter else f"sensor {entry.sensor}"


def _condition(entry: e.VesselCondition) -> Iterator[str]:
    yield f"condition {entry.condition}, held {entry.previous_contents}"
    yield entry.cleaning_done
    yield f"purged with {entry.purge_gas}" if entry.purge_gas else ""
    yield "" if entry.water_gap_mm is None else f"water {_metric(entry.water_gap_mm, Kind.LENGTH)} below the weld"


def _wall(entry: e.WallReading) -> Iterator[str]:
    spot = "" if entry.spot is None else f" at spot {entry.spot}"
    nominal = "" if entry.nominal_mm is None else f" of {_metric(entry.nominal_mm, Kind.LENGTH)}"
    yield f"wall {_metric(entry.wall_mm, Kind.LENGTH)}{nominal}{spot}, by {entry.method.replace('_', ' and ')}"
    yield entry.place
    yield entry.instrument


def _leak(entry: e.LeakEntry) -> Iterator[str]:
    over = "" if entry.seconds is None else f", {shown(entry.seconds, Kind.TIME, System.METRIC)}"
    pressure = "" if entry.start_pa is None else f" at {_metric(entry.start_pa, Kind.PRESSURE)}"
    yield f"looked for leaks by {entry.method}{pressure}{over}"
    yield f"leaks: {', '.join(entry.leaks)}" if entry.leaks else "none seen"


def _metric(value: float, kind: Kind) -> str:
    return shown(value, kind, System.METRIC)
