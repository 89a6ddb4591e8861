"""How the steps of a job stand: what is done, open and next, what speaks against a step, and what ran out of time. Pure.

The program proposes; only people say that a step is done, and only a named person releases a hold point.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Protocol

from prepcheck.settings import Settings
from prepcheck.trade.entries import AnyEntry, StepDone, StepReleased, StepReopened, WorkChosen
from prepcheck.trade.facts import Remark, Weight
from prepcheck.trade.step_checks import clock_remarks, evidence_remarks, timer_remarks
from prepcheck.trade.work import Step, Work, parse_work


class Event(Protocol):
    """An entry as logged; `at` is ISO 8601 with offset, `erased_kind` the kind of one that was erased."""

    @property
    def number(self) -> int: ...  # noqa: D102
    @property
    def at(self) -> str: ...  # noqa: D102
    @property
    def person(self) -> str: ...  # noqa: D102
    @property
    def role(self) -> str: ...  # noqa: D102
    @property
    def entry(self) -> AnyEntry | None: ...  # noqa: D102
    @property
    def erased_kind(self) -> str: ...  # noqa: D102


class Progress(StrEnum):
    """How a step stands."""

    OPEN = "open"  # other steps come first
    NEXT = "next"  # can be done now
    HELD = "held"  # said to be done, waits for a named person
    DONE = "done"
    RELEASED = "released"
    OVERRIDDEN = "overridden"  # done or released although something spoke against it

    @property
    def finished(self) -> bool:
        """Whether later steps may rest on it."""
        return self in (Progress.DONE, Progress.RELEASED, Progress.OVERRIDDEN)


@dataclass(frozen=True)
class StepState:
    """How one step stands.

    Parameters
    ----------
    step : Step
        From the plan.
    progress : Progress
        How it stands.
    did, did_at : str
        Who said that it is done, and when it was logged; empty while nobody did.
    by, role, at : str
        Who released it with which proved role, and when; of a step without hold point, who did it.
    began_at : str
        When the work on it began, if somebody told.
    note : str
        What that person added: a note, or the reason for an override, or why it was opened again.
    against : tuple of str
        What spoke against it when it was done or released all the same.
    remarks : tuple of Remark
        What is to be said now, heaviest first; empty once finished.
    number : int or None
        The entry that made it so.
    """

    step: Step
    progress: Progress
    did: str = ""
    did_at: str = ""
    by: str = ""
    role: str = ""
    at: str = ""
    began_at: str = ""
    note: str = ""
    against: tuple[str, ...] = ()
    remarks: tuple[Remark, ...] = ()
    number: int | None = None

    @property
    def blocks(self) -> tuple[Remark, ...]:
        """What holds it up now."""
        return tuple(one for one in self.remarks if one.weight is Weight.HOLD)


@dataclass(frozen=True)
class JobState:
    """How a job stands: its steps in the plan's order, and what is to be said about the job as a whole."""

    work: Work
    steps: tuple[StepState, ...]
    remarks: tuple[Remark, ...] = ()

    def find(self, name: str) -> StepState:
        """Return how the step `name` stands; `WrongUse` if the plan has none."""
        wanted = self.work.find(name)
        return next(one for one in self.steps if one.step is wanted)

    def those(self, *progress: Progress) -> tuple[StepState, ...]:
        """Return the steps that stand like one of `progress`."""
        return tuple(one for one in self.steps if one.progress in progress)

    @property
    def ran_out(self) -> tuple[Remark, ...]:
        """What has run out of time."""
        said = (one for state in self.steps for one in state.remarks if one.code in RAN_OUT)
        return tuple(dict.fromkeys(said))


RAN_OUT = ("cleaned_too_long_ago", "reading_aged", "calibration_expired", "calibration_stale")
"""Codes of remarks that say that time ran out."""


def job_state(work: Work, events: Sequence[Event], now: datetime, settings: Settings) -> JobState:
    """Say how the steps of a job stand at `now`.

    Parameters
    ----------
    work : Work
        The plan chosen for the job.
    events : sequence of Event
        All entries of the job, in the order in which they were logged.
    now : datetime
        With an offset.
    settings : Settings
        Limits on times and on readings.
    """
    told = _folded(work, events)
    states = tuple(_progressed(told[step.name], told) for step in work.step)
    whole = clock_remarks(events, now, settings.steps)
    return JobState(work, tuple(_remarked(one, told, events, now, settings) for one in states), whole)


def state_of(events: Sequence[Event], now: datetime, settings: Settings) -> JobState | None:
    """Say how the steps of a job stand at `now` by the plan that was chosen last; None when none was."""
    chosen = chosen_work(events)
    return None if chosen is None else job_state(parse_work(chosen.plan, chosen.work), events, now, settings)


def before_doing(
    job: JobState, name: str, events: Sequence[Event], began: datetime, settings: Settings
) -> tuple[Remark, ...]:
    """Return all that is to be said about doing the step `name` from `began` on, heaviest first.

    The evidence of a hold point counts when it is released.
    """
    step, told = job.find(name).step, _by_name(job)
    evidence = () if step.hold_point else _evidence(step, told, events, began, settings)
    early = _early_remarks(step, told, began, settings)
    return _ordered(
        (*job.remarks, *_needs_remarks(step, told), *early, *_timer(step, told, began, settings), *evidence)
    )


def before_releasing(
    job: JobState, name: str, events: Sequence[Event], now: datetime, settings: Settings
) -> tuple[Remark, ...]:
    """Return all that is to be said about releasing the hold point `name`, heaviest first."""
    state = job.find(name)
    nobody = () if state.did else (Remark("not_done", Weight.HOLD, f"Nobody said that the step {name} is done."),)
    return _ordered((*job.remarks, *nobody, *_all_remarks(state, _by_name(job), events, now, settings)))


def _by_name(job: JobState) -> dict[str, StepState]:
    return {one.step.name: one for one in job.steps}


def chosen_work(events: Iterable[Event]) -> WorkChosen | None:
    """Return the plan that was chosen last, or None."""
    chosen = [event.entry for event in events if isinstance(event.entry, WorkChosen)]
    return chosen[-1] if chosen else None


def _folded(work: Work, events: Iterable[Event]) -> dict[str, StepState]:
    """Go through the entries in order; a step that is opened again takes those that need it along."""
    told = {step.name: StepState(step, Progress.OPEN) for step in work.step}
    for event in events:
        entry = event.entry
        if isinstance(entry, StepDone | StepReleased | StepReopened) and entry.step in told:
            told.update(_after(event, entry, told, work))
    return told


def _after(
    event: Event, entry: StepDone | StepReleased | StepReopened, told: dict[str, StepState], work: Work
) -> dict[str, StepState]:
    before = told[entry.step]
    if isinstance(entry, StepDone):
        return {entry.step: _done(before.step, event, entry)}
    if isinstance(entry, StepReleased):
        return {entry.step: _released(before, event, entry)}
    why = f"opened again by {event.person}: {entry.reason}"
    again = {entry.step: StepState(before.step, Progress.OPEN, note=why, number=event.number)}
    for name in work.that_need(entry.step):
        if told[name].did:
            with_it = f"opened again with {entry.step} by {event.person}: {entry.reason}"
            again[name] = StepState(told[name].step, Progress.OPEN, note=with_it, number=event.number)
    return again


def _done(step: Step, event: Event, entry: StepDone) -> StepState:
    finished = Progress.OVERRIDDEN if entry.against else Progress.DONE
    return StepState(
        step,
        Progress.HELD if step.hold_point else finished,
        did=event.person,
        did_at=event.at,
        by="" if step.hold_point else event.person,
        role="" if step.hold_point else event.role,
        at="" if step.hold_point else event.at,
        began_at="" if entry.started_at is None else entry.started_at.isoformat(timespec="seconds"),
        note=entry.note,
        against=entry.against,
        number=event.number,
    )


def _released(before: StepState, event: Event, entry: StepReleased) -> StepState:
    return replace(
        before,
        progress=Progress.OVERRIDDEN if entry.override else Progress.RELEASED,
        by=event.person,
        role=event.role,
        at=event.at,
        note=entry.reason,
        against=(*before.against, *entry.against),
        number=event.number,
    )


def _progressed(state: StepState, told: dict[str, StepState]) -> StepState:
    if state.progress is Progress.OPEN and not _missing(state.step, told):
        return replace(state, progress=Progress.NEXT)
    return state


def _missing(step: Step, told: dict[str, StepState]) -> list[StepState]:
    return [told[name] for name in step.needs if not told[name].progress.finished]


def _remarked(
    state: StepState, told: dict[str, StepState], events: Sequence[Event], now: datetime, settings: Settings
) -> StepState:
    if state.progress.finished:
        return state
    if state.progress is Progress.OPEN:
        remarks = [*_needs_remarks(state.step, told), *_timer(state.step, told, now, settings)]
        return replace(state, remarks=_ordered(remarks))
    return replace(state, remarks=_ordered(_all_remarks(state, told, events, now, settings)))


def _all_remarks(
    state: StepState, told: dict[str, StepState], events: Sequence[Event], now: datetime, settings: Settings
) -> list[Remark]:
    step, moment = state.step, _counts_at(state, now)
    return [
        *_needs_remarks(step, told),
        *_timer(step, told, moment, settings),
        *_evidence(step, told, events, moment, settings),
        *(Remark("caution", Weight.NOTE, one.text, one.source) for one in step.caution),
    ]


def _evidence(
    step: Step, told: dict[str, StepState], events: Sequence[Event], moment: datetime, settings: Settings
) -> tuple[Remark, ...]:
    since = max((told[name].number or 0 for name in step.needs), default=0)
    return tuple(one for kind in step.evidence for one in evidence_remarks(kind, events, since, moment, settings))


def _counts_at(state: StepState, now: datetime) -> datetime:
    """Return the time at which a step is checked: where a time runs, when the work began, else now."""
    if state.step.within_hours_of is None or not state.did:
        return now
    return datetime.fromisoformat(state.began_at or state.did_at)


def _needs_remarks(step: Step, told: dict[str, StepState]) -> list[Remark]:
    return [Remark("needs_step", Weight.HOLD, _not_yet(missing)) for missing in _missing(step, told)]


def _early_remarks(step: Step, told: dict[str, StepState], began: datetime, settings: Settings) -> list[Remark]:
    """Say which hold points were released only after the work on `step` had begun."""
    slack = timedelta(seconds=settings.steps.clock_slack_s)
    needed = [told[name] for name in step.needs if told[name].step.hold_point and told[name].at]
    late = [one for one in needed if datetime.fromisoformat(one.at) > began + slack]
    text = "The work began before the step {} was released."
    return [Remark("began_before_release", Weight.HOLD, text.format(one.step.name)) for one in late]


def _not_yet(missing: StepState) -> str:
    what = "has to be released first" if missing.step.hold_point else "comes first and is not done"
    return f"The step {missing.step.name} {what}."


def _timer(step: Step, told: dict[str, StepState], moment: datetime, settings: Settings) -> tuple[Remark, ...]:
    if step.within_hours_of is None:
        return ()
    source = told[step.within_hours_of]
    if not source.did:
        return ()
    return timer_remarks(step, datetime.fromisoformat(source.did_at), moment, settings.steps)


def _ordered(remarks: Iterable[Remark]) -> tuple[Remark, ...]:
    return tuple(sorted(remarks, key=lambda one: list(Weight).index(one.weight)))
