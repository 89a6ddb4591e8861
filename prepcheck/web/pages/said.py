"""Words that several pages share: leads of remarks, progress of steps, times."""

from __future__ import annotations

from datetime import datetime, tzinfo

from prepcheck.report.words import score_words
from prepcheck.store import LoggedInspection, SpotStory
from prepcheck.terms import Standing
from prepcheck.trade.facts import Weight
from prepcheck.trade.steps import Progress, StepState

LEADS = {Weight.HOLD.value: "Held up", Weight.WARN.value: "Mind", Weight.NOTE.value: "Note"}
"""What goes before a remark."""
_WORDS = {Progress.OPEN: "later", Progress.NEXT: "can be done now"}


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
