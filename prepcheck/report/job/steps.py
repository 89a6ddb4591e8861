"""The job's steps: how each stands, who released it and when, every override, and what is open, held or out of time."""

from __future__ import annotations

from collections.abc import Iterator

from prepcheck.report.job.content import Block, Facts, Points, Section, Table, Words
from prepcheck.report.job.told import Told, by, person
from prepcheck.report.job.work import remarks
from prepcheck.store.rows import LoggedEvent
from prepcheck.trade import entries as e
from prepcheck.trade.facts import Remark, Weight
from prepcheck.trade.steps import Progress, StepState

_STEP_ENTRIES = (e.StepDone, e.StepReleased, e.StepReopened)


def steps(told: Told) -> Section:
    """Tell the plan's steps as they stand, everything logged about them, and the overrides."""
    blocks: list[Block] = [_chosen(told)]
    if told.state is not None:
        blocks.append(_plan(told, told.state.steps))
    blocks += remarks(told, "steps")
    logged = _logged(told)
    blocks.append(logged if logged.rows else Words("No step was said to be done or released."))
    return Section("Steps and releases", (*blocks, *_overrides(told)))


def open_steps(told: Told) -> Iterator[str]:
    """Say what is open, what holds it, and what ran out of time."""
    if told.state is None:
        return
    for one in told.state.remarks:
        yield _sentence(told, one)
    for state in told.state.those(Progress.HELD, Progress.NEXT):
        waits = ", waits until a named person releases it" if state.progress is Progress.HELD else ""
        yield f"{state.step.name}: {state.progress}{waits}.{_first(told, state.blocks)}"
    if later := told.state.those(Progress.OPEN):
        yield f"open, other steps come first: {', '.join(one.step.name for one in later)}."
    for one in told.state.ran_out:
        if one.weight is not Weight.HOLD:
            yield f"Out of time: {_sentence(told, one)}"


def held_up(told: Told) -> Iterator[Block]:
    """List all that holds up each step at hand, where that is more than one thing, the first to settle first."""
    for state in () if told.state is None else told.state.those(Progress.HELD, Progress.NEXT):
        if len(state.blocks) > 1:
            yield Words("what holds it up, the first to be settled first.", f"{state.step.name}:")
            yield Points(tuple(_sentence(told, one) for one in state.blocks))


def _first(told: Told, blocks: tuple[Remark, ...]) -> str:
    """Say the first thing that holds a step up, and how many there are."""
    if len(blocks) < 2:
        return "".join(f" {_sentence(told, one)}" for one in blocks)
    return f" {len(blocks)} things hold it up, listed below; first: {told.tool(blocks[0].text)}"


def _sentence(told: Told, remark: Remark) -> str:
    source = f" ({told.tool(remark.source)})" if remark.source else ""
    return f"{told.tool(remark.text)}{source}"


def _chosen(told: Told) -> Words:
    chosen = told.of(e.WorkChosen)
    if not chosen:
        return Words("No plan of steps was chosen for this job.")
    event, entry = chosen[-1]
    return Words(f"{entry.work}, chosen {told.when(event.at)} by {by(event)}.", "Plan of steps:")


def _plan(told: Told, states: tuple[StepState, ...]) -> Table:
    rows = tuple(
        (
            state.step.name,
            "hold point" if state.step.hold_point else "step",
            state.progress.value,
            _done(told, state),
            f"{told.when(state.at)}, {person(state.by, state.role)}" if state.step.hold_point and state.by else "-",
            "; ".join(one.removesuffix(".") for one in (*state.against, *_at_a_glance(told, state.blocks))) or "-",
        )
        for state in states
    )
    heads = ("Step", "Kind", "Stands", "Done", "Released", "Speaks or spoke against it")
    return Table("The plan's steps at the time of writing", heads, rows, (15, 14, 15, 22, 26, 36))


def _at_a_glance(told: Told, blocks: tuple[Remark, ...]) -> Iterator[str]:
    """Say the first thing that holds a step up, two at most, and where the others stand."""
    shown = 1 if len(blocks) > 2 else 2
    yield from (told.tool(one.text) for one in blocks[:shown])
    if blocks[shown:]:
        yield f"and {len(blocks[shown:])} more, see the open points"


def _done(told: Told, state: StepState) -> str:
    began = f", began {told.when(state.began_at)}" if state.began_at else ""
    return f"{told.when(state.did_at)}, {state.did}{began}" if state.did else "-"


def _logged(told: Told) -> Table:
    of_steps = [event for event in told.story.events if isinstance(event.entry, _STEP_ENTRIES)]
    rows = tuple((told.when(event.at), *_row(event)) for event in of_steps)
    return Table("As logged, in order", ("When", "Step", "What", "Who", "Note or reason"), rows, (21, 15, 17, 24, 45))


def _row(event: LoggedEvent) -> tuple[str, str, str, str]:
    match event.entry:
        case e.StepDone() as one:
            return one.step, "done, override" if one.against else "done", by(event), one.note or "-"
        case e.StepReleased() as one:
            return one.step, "released, override" if one.override else "released", by(event), one.reason or "-"
        case e.StepReopened() as one:
            return one.step, "opened again", by(event), one.reason
        case _:
            raise ValueError("no entry about a step")


def overrides(told: Told) -> list[Facts]:
    """Tell each step that a person did or released although something spoke against it."""
    found = []
    for event in told.story.events:
        match event.entry:
            case e.StepDone(against=against) as one if against:
                found.append(_override(told, event, f"Done: {one.step}", against, one.note))
            case e.StepReleased(override=True) as one:
                found.append(_override(told, event, f"Released: {one.step}", one.against, one.reason))
    return found


def _overrides(told: Told) -> list[Block]:
    found = overrides(told)
    if not found:
        return [Words("None is logged.", "Overrides:")]
    return [Words("these were done or released although something spoke against them.", "Overrides:"), *found]


def _override(told: Told, event: LoggedEvent, title: str, against: tuple[str, ...], reason: str) -> Facts:
    rows = (
        ("By, at", f"{by(event)}, {told.when(event.at)}"),
        ("Spoke against it", "; ".join(map(told.tool, against)) or "not logged"),
        ("Reason given", reason or "none given"),
    )
    return Facts(title, rows)
