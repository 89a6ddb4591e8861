"""What people entered about a job, each entry in one line: for a terminal, a page and the job's report."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from prepcheck.trade import entries as e
from prepcheck.trade.units import Kind, System, shown

if TYPE_CHECKING:
    from prepcheck.store import LoggedEvent

_FITS = {"taken": "taken into use", "refused": "refused", "back": "taken back"}
_LOOKS = {"bubbles": "bubble test", "decay": "pressure watched", "water": "water held"}
_BRIEF = 80


def entry_words(event: LoggedEvent, system: System = System.METRIC, *, brief: bool = False) -> str:
    """Return one line about a logged entry, its quantities in the units of `system`; `brief` says what it is and no more."""
    if event.entry is None:
        return "erased for a lawful reason; its hash stays in the log"
    first, *more = _parts(event.entry, system)
    return _cut(first) if brief else "; ".join([first, *filter(None, more)])


def _parts(entry: e.AnyEntry, system: System) -> Iterator[str]:
    """Yield what an entry is, then what else it says; texts that were left empty are empty."""
    match entry:
        case e.GasReading():
            yield from _reading(entry, system)
        case e.VesselCondition():
            yield from _condition(entry, system)
        case e.WallReading():
            yield from _wall(entry, system)
        case e.LeakEntry():
            yield from _leak(entry, system)
        case e.Certificate():
            yield f"certified by {entry.certified_by} under {entry.rule}"
        case e.PlanMade():
            yield f"plan made: {entry.what}"
        case e.WorkChosen():
            yield f"plan of steps: {entry.work}"
        case e.Note():
            yield f"note: {entry.text}"
        case _:
            yield from _done(entry)


def _done(entry: e.AnyEntry) -> Iterator[str]:
    match entry:
        case e.StepDone():
            yield f"{entry.step} done{' although held' if entry.against else ''}"
            yield entry.note
        case e.StepReleased():
            yield f"{entry.step} released{' by override' if entry.override else ''}"
            yield entry.reason
        case e.StepReopened():
            yield f"{entry.step} opened again"
            yield entry.reason
        case e.Sealed():
            yield f"sealed: {entry.bag}"
        case e.ShopFitLogged():
            yield f"shop's own fit of {entry.model} {_FITS[entry.outcome]}"
            yield from entry.reasons
        case e.Erased():
            yield f"erased: {entry.what}"
            yield entry.reason
        case _:
            yield from _practice(entry)


def _practice(entry: e.AnyEntry) -> Iterator[str]:
    match entry:
        case e.PracticeStarted():
            yield f"practice began on {', '.join(one.name for one in entry.photos)}"
        case e.PracticeMarked():
            yield f"marked a photo of practice session {entry.session}"
        case e.PracticeCompared():
            yield f"mark of practice session {entry.session} beside the {entry.against}"
            yield f"{entry.patches_found} of {entry.patches} patches found, {entry.marked_off} of {entry.marked} off"
        case _:
            yield entry.kind.replace("_", " ")


def _reading(entry: e.GasReading, system: System) -> Iterator[str]:
    height = "" if entry.height_m is None else f", {shown(entry.height_m, Kind.HEIGHT, system, 2)} up"
    of = f" ({entry.of})" if entry.of else ""
    yield f"{entry.gas}{of} {entry.value:g} {entry.gas.unit} at {entry.place}{height}"
    yield f"{entry.taken_at:%H:%M}"
    yield f"{entry.meter}, {entry.sensor}" if entry.meter else f"sensor {entry.sensor}"


def _condition(entry: e.VesselCondition, system: System) -> Iterator[str]:
    yield f"condition {entry.condition}, held {entry.previous_contents}"
    yield entry.cleaning_done
    yield f"purged with {entry.purge_gas}" if entry.purge_gas else ""
    yield "" if entry.water_gap_mm is None else f"water {shown(entry.water_gap_mm, Kind.LENGTH, system)} below the weld"


def _wall(entry: e.WallReading, system: System) -> Iterator[str]:
    nominal = "" if entry.nominal_mm is None else f" of {shown(entry.nominal_mm, Kind.LENGTH, system)}"
    where = ", ".join(filter(None, (entry.place, "" if entry.spot is None else f"spot {entry.spot}")))
    yield f"wall {shown(entry.wall_mm, Kind.LENGTH, system)}{nominal} left{f' at {where}' if where else ''}"
    yield f"by {entry.method.replace('_', ' and ')}"
    yield entry.instrument


def _leak(entry: e.LeakEntry, system: System) -> Iterator[str]:
    over = "" if entry.seconds is None else f" for {shown(entry.seconds, Kind.TIME, system)}"
    pressure = "" if entry.start_pa is None else f" at {shown(entry.start_pa, Kind.PRESSURE, system)}"
    yield f"{_LOOKS[entry.method]}{over}{pressure}, {_seen(entry)}"
    yield "" if entry.end_pa is None else f"{shown(entry.end_pa, Kind.PRESSURE, system)} at the end"


def _seen(entry: e.LeakEntry) -> str:
    if entry.leaks:
        return f"leaks seen: {', '.join(entry.leaks)}"
    if entry.looked_at:
        return f"no leak seen at {entry.looked_at}"
    return "no seam was looked at" if entry.method == "decay" else "no leak seen; not told where it was looked"


def _cut(text: str) -> str:
    return text if len(text) <= _BRIEF else f"{text[: _BRIEF - 3]}..."
