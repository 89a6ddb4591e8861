"""What people entered about a job, each entry in one line for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from prepcheck.trade import entries as e
from prepcheck.trade.units import Kind, System, shown

if TYPE_CHECKING:
    from prepcheck.store import LoggedEvent


def entry_words(event: LoggedEvent, system: System = System.METRIC) -> str:
    """Return one line about a logged entry, its quantities in the units of `system`."""
    entry = event.entry
    return "erased" if entry is None else "; ".join(filter(None, _parts(entry, system)))


def _parts(entry: e.AnyEntry, system: System) -> Iterator[str]:
    if isinstance(entry, e.GasReading):
        yield from _reading(entry, system)
    elif isinstance(entry, e.VesselCondition):
        yield from _condition(entry, system)
    elif isinstance(entry, e.WallReading):
        yield from _wall(entry, system)
    elif isinstance(entry, e.LeakEntry):
        yield from _leak(entry, system)
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
        case e.ShopFitLogged():
            return f"shop's own fit of {entry.model} {_FITS[entry.outcome]}{_more('; '.join(entry.reasons))}"
        case e.Erased():
            return f"erased {entry.what}: {entry.reason}"
    return _practice(entry)


def _practice(entry: e.AnyEntry) -> str:
    match entry:
        case e.PracticeStarted():
            return f"practice began on {', '.join(one.name for one in entry.photos)}"
        case e.PracticeMarked():
            return f"marked a photo of practice session {entry.session}"
        case e.PracticeCompared():
            found = f"{entry.patches_found} of {entry.patches} patches found, {entry.marked_off} of {entry.marked} off"
            return f"mark of practice session {entry.session} beside the {entry.against}: {found}"
    return entry.kind


def _more(text: str) -> str:
    return f": {text}" if text else ""


def _reading(entry: e.GasReading, system: System) -> Iterator[str]:
    yield f"{entry.gas}{f' ({entry.of})' if entry.of else ''} {entry.value:g} {entry.gas.unit}"
    height = "" if entry.height_m is None else f", {shown(entry.height_m, Kind.HEIGHT, system, 2)} up"
    yield f"{entry.place}{height} at {entry.taken_at:%H:%M}"
    yield f"{entry.meter}, {entry.sensor}" if entry.meter else f"sensor {entry.sensor}"


def _condition(entry: e.VesselCondition, system: System) -> Iterator[str]:
    yield f"condition {entry.condition}, held {entry.previous_contents}"
    yield entry.cleaning_done
    yield f"purged with {entry.purge_gas}" if entry.purge_gas else ""
    yield "" if entry.water_gap_mm is None else f"water {shown(entry.water_gap_mm, Kind.LENGTH, system)} below the weld"


def _wall(entry: e.WallReading, system: System) -> Iterator[str]:
    spot = "" if entry.spot is None else f" at spot {entry.spot}"
    nominal = "" if entry.nominal_mm is None else f" of {shown(entry.nominal_mm, Kind.LENGTH, system)}"
    yield f"wall {shown(entry.wall_mm, Kind.LENGTH, system)}{nominal}{spot}, by {entry.method.replace('_', ' and ')}"
    yield entry.place
    yield entry.instrument


_FITS = {"taken": "taken into use", "refused": "refused", "back": "taken back"}
_LOOKS = {"bubbles": "bubble test", "decay": "pressure watched", "water": "water held"}


def _leak(entry: e.LeakEntry, system: System) -> Iterator[str]:
    over = "" if entry.seconds is None else f" for {shown(entry.seconds, Kind.TIME, system)}"
    pressure = "" if entry.start_pa is None else f" at {shown(entry.start_pa, Kind.PRESSURE, system)}"
    yield f"{_LOOKS[entry.method]}{over}{pressure}"
    yield "" if entry.end_pa is None else f"{shown(entry.end_pa, Kind.PRESSURE, system)} at the end"
    if entry.leaks:
        yield f"leaks: {', '.join(entry.leaks)}"
    elif entry.looked_at:
        yield f"no leak seen at {entry.looked_at}"
    else:
        yield "no seam was looked at" if entry.method == "decay" else "no leak seen; not told where it was looked"
