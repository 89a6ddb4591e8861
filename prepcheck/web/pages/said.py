"""Words that several pages share: leads of remarks, progress of steps, times, entries."""

from __future__ import annotations

from datetime import datetime, tzinfo

from prepcheck.report.words import score_words
from prepcheck.store import LoggedEvent, LoggedInspection, SpotStory
from prepcheck.terms import Standing
from prepcheck.trade import entries as e
from prepcheck.trade.facts import Weight
from prepcheck.trade.steps import Progress, StepState
from prepcheck.trade.units import Kind, System, shown

LEADS = {Weight.HOLD.value: "Held up", Weight.WARN.value: "Mind", Weight.NOTE.value: "Note"}
"""What goes before a remark."""
_WORDS = {Progress.OPEN: "later: other steps come first", Progress.NEXT: "can be done now"}


def when(at: str | datetime, zone: tzinfo | None) -> str:
    """Say a time to the minute in a time zone."""
    time = datetime.fromisoformat(at) if isinstance(at, str) else at
    return f"{time.astimezone(zone):%Y-%m-%d %H:%M}"


def score_of(one: LoggedInspection) -> str:
    """Say the score of a logged inspection; that of a photo to retake is not said."""
    unfit = one.standing is Standing.RETAKE
    return "photo not fit to judge" if unfit else score_words(one.bright_share, one.interval)


def spot_name(spot: SpotStory) -> str:
    """Name a spot: ``Spot 1, lower seam``."""
    return f"Spot {spot.number}" + (f", {spot.name}" if spot.name else "")


def progress_words(state: StepState, zone: tzinfo | None) -> str:
    """Say how a step stands, and who made it so."""
    if state.progress in _WORDS:
        return _WORDS[state.progress] + (f"; {state.note}" if state.note else "")
    if state.progress is Progress.HELD:
        return f"done by {state.did}, {when(state.did_at, zone)}; waits until a named person releases it"
    role = f" ({state.role})" if state.role else ""
    although = ", although something spoke against it" if state.progress is Progress.OVERRIDDEN else ""
    return f"{'released' if state.step.hold_point else 'done'} by {state.by}{role}, {when(state.at, zone)}{although}"


def entry_words(event: LoggedEvent, system: System) -> str:
    """Say an entry that belongs to readings and notes in one line; others by what they are."""
    match event.entry:
        case None:
            return "erased for a lawful reason"
        case e.GasReading() as one:
            of = f" ({one.of})" if one.of else ""
            height = "" if one.height_m is None else f", {shown(one.height_m, Kind.HEIGHT, system, 2)} up"
            return f"{one.gas}{of} {one.value:g} {one.gas.unit} at {one.place}{height}"
        case e.VesselCondition() as one:
            return f"condition {one.condition}, held {one.previous_contents}"
        case e.Certificate() as one:
            return f"certified by {one.certified_by} under {one.rule}"
        case e.WallReading() as one:
            where = f" at {one.place}" if one.place else ""
            return f"wall {shown(one.wall_mm, Kind.LENGTH, system)} left{where}"
        case e.LeakEntry(method="decay", leaks=(), looked_at=""):
            return "pressure watched; no seam was looked at"
        case e.LeakEntry() as one:
            return f"looked for leaks by {one.method}: {'; '.join(one.leaks) or 'none seen'}"
        case e.Note() as one:
            return f"note: {one.text}"
        case other:
            return other.kind.replace("_", " ")
