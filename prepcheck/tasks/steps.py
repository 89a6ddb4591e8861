"""The steps of a job: choose the plan, say that a step is done, release a hold point, open a step again.

Each looks at the story so far and adds its entry in one transaction, so that nobody can change what it rests on meanwhile.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from prepcheck.errors import Held, NotAllowed, WrongUse
from prepcheck.settings import Settings
from prepcheck.store import LoggedEvent, Story
from prepcheck.store import words as w
from prepcheck.tasks.people import DEFAULTS, proved_role, releasing_role
from prepcheck.trade.entries import AnyEntry, StepDone, StepReleased, StepReopened, WorkChosen
from prepcheck.trade.facts import Remark, Weight
from prepcheck.trade.steps import JobState, StepState, before_doing, before_releasing, chosen_work, state_of
from prepcheck.trade.work import Work

if TYPE_CHECKING:
    from prepcheck.store.store import Events, Store

_LINE = 200
"""Longest line of what spoke against a step, in characters."""
_CUT = " [cut]."


def choose_work(
    store: Store,
    number: str,
    work: Work,
    *,
    person: str,
    at: datetime,
    pin: str | None = None,
    settings: Settings = DEFAULTS,
) -> LoggedEvent:
    """Give a job its plan of steps, which is logged word for word; another one takes somebody who may release.

    Raises
    ------
    UnknownRecord
        No such job.
    NotAllowed
        The job has a plan, and this person may not change it.
    """
    job, name = w.job_number(number), w.clean(person, "the person's name")
    first = chosen_work(store.events(job)) is None
    role = (proved_role if first else releasing_role)(store, name, pin, at, settings)

    def entry(events: Events) -> AnyEntry:
        if first and chosen_work(events) is not None:
            raise NotAllowed(
                "was given a plan by somebody else meanwhile",
                "Look at the job's plan",
                job,
                command="prepcheck job show",
            )
        return WorkChosen(work=work.name, plan=work.text)

    return store.decide(job, entry, name, at, role)


def story_state(story: Story, now: datetime, settings: Settings = DEFAULTS) -> JobState | None:
    """Return how the steps of a told job stand, or None when no plan was chosen."""
    return state_of(story.events, now, settings)


def mark_step(
    store: Store,
    number: str,
    step: str,
    *,
    person: str,
    at: datetime,
    note: str = "",
    started_at: datetime | None = None,
    override: bool = False,
    reason: str = "",
    pin: str | None = None,
    settings: Settings = DEFAULTS,
) -> LoggedEvent:
    """Log that a step is done.

    Parameters
    ----------
    store, number, step
        From `open_log`; the job's number; the step's name in its plan.
    person, at
        Who says so, and when.
    note : str
        Anything worth keeping.
    started_at : datetime, optional
        When the work on it began; what holds or ran out is looked at for that time.
    override, reason
        The step was done although something spoke against it, and why: logged with what spoke against it.
    pin : str, optional
        Proves the person's role; needed for an override once somebody may release.

    Raises
    ------
    Held
        Something speaks against it and `override` is off.
    NotAllowed, WrongUse, UnknownRecord
        As told in their messages; nothing was logged.
    """
    job, name = w.job_number(number), w.clean(person, "the person's name")
    why = w.clean(reason, "the reason", w.NOTE, needed=override)
    said = w.clean(note, "the note", w.NOTE, needed=False)
    began = _began(started_at, at, settings)
    role = (releasing_role if override else proved_role)(store, name, pin, at, settings)

    def entry(events: Events) -> AnyEntry:
        state = _state(job, events, at, settings)
        wanted = state.work.find(step).name
        holds = _holds(before_doing(state, wanted, events, began, settings))
        _refuse_held(wanted, holds, override, "say it is done")
        told = " ".join(filter(None, [why if holds else "", said]))
        return StepDone(step=wanted, note=told, started_at=started_at, against=holds)

    return store.decide(job, entry, name, at, role)


def release_step(
    store: Store,
    number: str,
    step: str,
    *,
    person: str,
    pin: str | None,
    at: datetime,
    reason: str = "",
    override: bool = False,
    settings: Settings = DEFAULTS,
) -> LoggedEvent:
    """Log that a person releases a hold point; with `override` and a `reason` over what speaks against it, which is kept.

    Raises
    ------
    Held
        Something speaks against it and `override` is off.
    NotAllowed
        This person may not release, or not their own work; the PIN is not right.
    WrongUse, UnknownRecord
        No such job or step, no hold point, released already.
    """
    job, name = w.job_number(number), w.clean(person, "the person's name")
    why = w.clean(reason, "the reason", w.NOTE, needed=override)
    role = releasing_role(store, name, pin, at, settings)

    def entry(events: Events) -> AnyEntry:
        state = _state(job, events, at, settings)
        wanted = state.work.find(step).name
        _refuse_person(state.find(wanted), name)
        holds = _holds(before_releasing(state, wanted, events, at, settings))
        _refuse_held(wanted, holds, override, "release it")
        return StepReleased(step=wanted, override=bool(holds), reason=why, against=holds)

    return store.decide(job, entry, name, at, role)


def reopen_step(
    store: Store,
    number: str,
    step: str,
    *,
    person: str,
    reason: str,
    at: datetime,
    pin: str | None = None,
    settings: Settings = DEFAULTS,
) -> LoggedEvent:
    """Open a step again, and with it every step that needs it; anybody may, with a reason."""
    job, name = w.job_number(number), w.clean(person, "the person's name")
    why = w.clean(reason, "the reason", w.NOTE)
    role = proved_role(store, name, pin, at, settings)

    def entry(events: Events) -> AnyEntry:
        state = _state(job, events, at, settings).find(step)
        if not state.did and not state.progress.finished:
            raise WrongUse("is open", "There is nothing to open again", state.step.name)
        return StepReopened(step=state.step.name, reason=why)

    return store.decide(job, entry, name, at, role)


def _state(job: str, events: Events, at: datetime, settings: Settings) -> JobState:
    state = state_of(events, at, settings)
    if state is None:
        raise WrongUse("has no plan of steps yet", "Choose one", job, command="prepcheck step plan")
    return state


def _began(started_at: datetime | None, at: datetime, settings: Settings) -> datetime:
    if started_at is not None and started_at > at + timedelta(seconds=settings.steps.clock_slack_s):
        raise WrongUse("the work cannot have begun in the future", "Check the time", f"{started_at:%Y-%m-%d %H:%M}")
    return at if started_at is None else min(started_at, at)


def _holds(remarks: Sequence[Remark]) -> tuple[str, ...]:
    return tuple(_line(one) for one in remarks if one.weight is Weight.HOLD)


def _line(remark: Remark) -> str:
    return remark.text if len(remark.text) <= _LINE else f"{remark.text[: _LINE - len(_CUT)]}{_CUT}"


def _refuse_held(step: str, holds: tuple[str, ...], override: bool, what: str) -> None:
    if holds and not override:
        raise Held(
            f"held up. {' '.join(holds)}".rstrip("."),
            f"Settle this, or {what} all the same, with a reason",
            step,
            command="--override --reason",
        )


def _refuse_person(state: StepState, name: str) -> None:
    step = state.step
    if not step.hold_point:
        raise WrongUse("is no hold point", "Say that it is done", step.name, command="prepcheck step done")
    if state.progress.finished:
        raise WrongUse(f"was released by {state.by} already", "Open it again first if it has to be redone", step.name)
    if step.other_person and w.folded(state.did) == w.folded(name):
        raise NotAllowed("the plan wants another person to release this than the one who did it", "Ask one", name)
