"""Reads from the log what a report is made from."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from typing import TYPE_CHECKING, TypeVar

from prepcheck.record import Record
from prepcheck.report.job.again import Again
from prepcheck.report.job.told import Check, Told
from prepcheck.settings import Settings
from prepcheck.store.rows import LoggedEvent, Story
from prepcheck.trade import entries as e
from prepcheck.trade.clearing import check_certificate, check_readings
from prepcheck.trade.facts import Remark
from prepcheck.trade.leak_looks import Looks, judge
from prepcheck.trade.step_checks import timer_remarks
from prepcheck.trade.steps import JobState, chosen_work, job_state
from prepcheck.trade.units import System
from prepcheck.trade.wall_plan import check_walls
from prepcheck.trade.work import parse_work

if TYPE_CHECKING:
    from prepcheck.store.store import Store
    from prepcheck.surface import Model

E = TypeVar("E", bound=e.EntryModel)


def gather(
    store: Store,
    photo: Callable[[str], bytes],
    story: Story,
    now: datetime,
    settings: Settings,
    system: System,
    load: Callable[[], Model] | None = None,
) -> Told:
    """Return what the report of a job is made from.

    Parameters
    ----------
    store : Store
        The log.
    photo : callable
        Returns the bytes of a photo by SHA-256, such as `Archive.get`.
    story : Story
        Of the job, read from the log just before: the tree's head is read after it, so that it covers all of it.
    now : datetime
        With an offset.
    settings : Settings
        Limits that the steps and readings are held against.
    system : System
        Units of the report.
    load : callable, optional
        Loads the model, for hatches in the pictures; none are drawn otherwise.
    """
    told = Told(story, None, now, system, photo)
    records = {one.number: Record.model_validate_json(store.record_text(one.number)) for one in told.inspections}
    return Told(
        story=story,
        head=store.tree_head(),
        now=now,
        system=system,
        photo=photo,
        records=records,
        state=standing(story.events, now, settings),
        checks=checks(story.events, now, settings, system),
        looks=looks(story.events, now, settings, system).lines,
        states=Again(photo, load, settings) if load is not None else lambda record: None,
    )


def standing(events: tuple[LoggedEvent, ...], now: datetime, settings: Settings) -> JobState | None:
    """Say how the steps of the plan that was chosen last stand; None without one."""
    chosen = chosen_work(events)
    return None if chosen is None else job_state(parse_work(chosen.plan, chosen.work), events, now, settings)


def checks(
    events: tuple[LoggedEvent, ...], now: datetime, settings: Settings, system: System = System.METRIC
) -> tuple[Check, ...]:
    """Hold the record against its limits, as of when it mattered.

    Readings: when a step that asks for them was released, without any such release at `now`. Times between steps: when
    the work on the later one began. Walls and looks for leaks: at `now`.
    """
    moments = [
        (f"when {entry.step} was released", datetime.fromisoformat(event.at)) for event, entry in _releases(events)
    ]
    found = [
        Check("clearing", words, _of_clearing(events, at, settings, system)) for words, at in moments or [("now", now)]
    ]
    wall = Check("wall", "now", check_walls(_entries(events, e.WallReading), settings.wall, system))
    leak = Check("leak", "now", looks(events, now, settings, system).remarks)
    return tuple(one for one in (*_timers(events, now, settings), *found, wall, leak) if one.remarks)


def looks(events: tuple[LoggedEvent, ...], now: datetime, settings: Settings, system: System) -> Looks:
    """Tell what all looks for leaks show together, in the order in which they were made, with the clock of `now`."""
    told = [
        one.model_copy(update={"started_at": one.started_at.astimezone(now.tzinfo)})
        for one in _entries(events, e.LeakEntry)
    ]
    return judge(told, settings.leak, system)


def _timers(events: tuple[LoggedEvent, ...], now: datetime, settings: Settings) -> Iterator[Check]:
    """Say of each step that has to follow another within a time, how much of it was left when it began."""
    state = standing(events, now, settings)
    for one in () if state is None else state.steps:
        before = one.step.within_hours_of
        if state is None or before is None or not one.did or not state.find(before).did:
            continue
        began = datetime.fromisoformat(one.began_at or one.did_at)
        since = datetime.fromisoformat(state.find(before).did_at)
        said = timer_remarks(one.step, since, began, settings.steps)
        yield Check("steps", f"when {one.step.name} {'began' if one.began_at else 'was said to be done'}", said)


def _releases(events: tuple[LoggedEvent, ...]) -> list[tuple[LoggedEvent, e.StepReleased]]:
    chosen = chosen_work(events)
    steps = () if chosen is None else parse_work(chosen.plan, chosen.work).step
    asked = {step.name for step in steps if "readings" in step.evidence}
    return [(one, one.entry) for one in events if isinstance(one.entry, e.StepReleased) and one.entry.step in asked]


def _of_clearing(
    events: tuple[LoggedEvent, ...], at: datetime, settings: Settings, system: System
) -> tuple[Remark, ...]:
    known = [event for event in events if datetime.fromisoformat(event.at) <= at]
    conditions = _entries(known, e.VesselCondition)
    if not conditions:
        return ()
    readings, certificates = _entries(known, e.GasReading), _entries(known, e.Certificate)
    return (
        *check_readings(conditions[-1], readings, at, settings.clearing, system),
        *check_certificate(certificates[-1] if certificates else None, conditions[-1], at),
    )


def _entries(events: Iterable[LoggedEvent], kind: type[E]) -> list[E]:
    return [event.entry for event in events if isinstance(event.entry, kind)]
