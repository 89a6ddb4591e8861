"""What speaks against a step: a clock that was moved back, time that ran out, evidence that is not in the log. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, TypeVar

from prepcheck.settings import Settings, StepSettings
from prepcheck.trade.clearing import check_certificate, check_readings
from prepcheck.trade.entries import (
    Certificate,
    EntryModel,
    GasReading,
    LeakEntry,
    VesselCondition,
    WallReading,
)
from prepcheck.trade.facts import Fact, Mark, Remark, Weight
from prepcheck.trade.units import System
from prepcheck.trade.work import Evidence, Step

if TYPE_CHECKING:
    from prepcheck.trade.steps import Event

E = TypeVar("E", bound=EntryModel)

CLEAN_TO_WELD = Fact(4.0, "h", "Mathers, The Welding of Aluminium and its Alloys, p. 68", Mark.SEEN)
"""From cleaning to welding: clean only what can be welded in 4 to 5 h; what lay overnight is cleaned again."""
CONFLICT = "other limits, 8 h, 24 h or the same shift, are told from memory only"


def clock_remarks(events: Sequence[Event], now: datetime, settings: StepSettings) -> tuple[Remark, ...]:
    """Say whether the clock was moved back: against the newest entry that holds, between older ones it is a doubt."""
    slack = timedelta(seconds=settings.clock_slack_s)
    times = [datetime.fromisoformat(event.at) for event in events]
    pairs = pairwise(zip(events, times, strict=True))
    doubts = [_out_of_order(event, at, later, then) for (event, at), (later, then) in pairs if then < at - slack]
    if not times or max(times) <= now + slack:
        return tuple(doubts)
    text = f"The clock says {_when(now)}, but the log holds an entry of {_when(max(times))}. Set the clock right."
    return (Remark("clock_moved_back", Weight.HOLD, text), *doubts)


def _out_of_order(event: Event, at: datetime, later: Event, then: datetime) -> Remark:
    text = f"Entry {later.number} of {_when(then)} follows entry {event.number} of {_when(at)}: a clock was moved back."
    return Remark("times_out_of_order", Weight.WARN, text)


def timer_remarks(step: Step, since: datetime, moment: datetime, settings: StepSettings) -> tuple[Remark, ...]:
    """Say how much of the time after the step before is left at `moment`, or that it ran out."""
    limit, before = _limit(step, settings), step.within_hours_of
    gone, most = moment - since, timedelta(hours=limit.value)
    if gone < -timedelta(seconds=settings.clock_slack_s):
        text = f"The step {before} is logged at {_when(since)}, after {_when(moment)}: no time can be told."
        return (Remark("clock_moved_back", Weight.HOLD, text),)
    source = f"{limit}; {CONFLICT}"
    if gone > most:
        text = f"{_long(gone)} went by after the step {before}; the limit is {_long(most)}. Do {before} again."
        return (Remark("cleaned_too_long_ago", Weight.HOLD, text, source),)
    text = f"{_long(most - gone)} of {_long(most)} after the step {before} are left, until {_when(since + most)}."
    return (Remark("time_left", Weight.NOTE, text, source),)


def evidence_remarks(
    kind: Evidence, events: Sequence[Event], since: int, moment: datetime, settings: Settings
) -> tuple[Remark, ...]:
    """Say what evidence of `kind` in the log tells; `since` is the entry that the steps before ended with."""
    if kind == "readings":
        return _readings(events, moment, settings)
    return _leaks(events, since) if kind == "leak" else _wall(events)


def _readings(events: Sequence[Event], moment: datetime, settings: Settings) -> tuple[Remark, ...]:
    conditions = _entries(events, VesselCondition)
    told = sorted((one.at, number, one) for number, one in conditions.items() if one.at <= moment)
    if not told:
        text = "The condition of the vessel is not logged: ventilated, inerted or water-filled, and what it held."
        return (Remark("no_condition", Weight.HOLD, text),)
    _, number, condition = told[-1]
    readings = [one for one in _entries(events, GasReading).values() if one.taken_at <= moment]
    certificates = [one for one in _entries(events, Certificate).values() if one.at <= moment]
    return (
        *_erased(events, ("gas_reading", "vessel_condition"), number, "enter the condition anew and measure again"),
        *check_readings(condition, readings, moment, settings.clearing, System(settings.report.units)),
        *check_certificate(certificates[-1] if certificates else None, condition, moment),
    )


def _leaks(events: Sequence[Event], since: int) -> tuple[Remark, ...]:
    tests = _entries([event for event in events if event.number > since], LeakEntry)
    if not tests:
        return (
            Remark("no_leak_test", Weight.HOLD, "No look for leaks is logged since the steps before it were finished."),
        )
    last = max(tests, key=lambda number: (tests[number].started_at, number))
    erased = _erased(events, ("leak_entry",), last, "look for leaks again")
    if tests[last].leaks:
        where = "; ".join(tests[last].leaks)
        return (Remark("leaks_found", Weight.HOLD, f"The last look for leaks found some: {where}."[:200]), *erased)
    return erased


def _erased(events: Sequence[Event], kinds: Sequence[str], after: int, what: str) -> tuple[Remark, ...]:
    """Hold where evidence was erased that nothing newer has taken the place of: it may have spoken against the step."""
    gone = [event.number for event in events if event.erased_kind in kinds and event.number > after]
    return (Remark("evidence_erased", Weight.HOLD, f"Entry {gone[-1]} was erased: {what}."),) if gone else ()


def _wall(events: Sequence[Event]) -> tuple[Remark, ...]:
    if _entries(events, WallReading):
        return ()
    return (Remark("no_wall_reading", Weight.HOLD, "No wall that is left after grinding is logged."),)


def _entries(events: Sequence[Event], kind: type[E]) -> dict[int, E]:
    return {event.number: event.entry for event in events if isinstance(event.entry, kind)}


def _limit(step: Step, settings: StepSettings) -> Fact:
    hours = settings.clean_to_weld_hours if step.hours is None else step.hours
    return (
        CLEAN_TO_WELD if hours == CLEAN_TO_WELD.value else Fact(hours, "h", "plan or settings of the shop", Mark.SHOP)
    )


def _when(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M}"


def _long(span: timedelta) -> str:
    hours, minutes = divmod(int(span.total_seconds() // 60), 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"
