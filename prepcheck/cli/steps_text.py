"""How the steps of a job and its people are told in a terminal. Text of people is never read as markup."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from prepcheck.store import Person
from prepcheck.trade.facts import Remark, Weight
from prepcheck.trade.steps import JobState, Progress, StepState

MARKS = {
    Progress.DONE: "[x]",
    Progress.RELEASED: "[x]",
    Progress.OVERRIDDEN: "[!]",
    Progress.HELD: "[?]",
    Progress.NEXT: "[>]",
    Progress.OPEN: "[ ]",
}
"""In letters that every screen has; they read the same without colour."""
STYLES = {Progress.OVERRIDDEN: "bold reverse", Progress.HELD: "bold", Progress.NEXT: "bold", Progress.OPEN: "dim"}
_LEAD = {Weight.HOLD: "held up", Weight.WARN: "mind", Weight.NOTE: "note"}


def steps_text(state: JobState) -> RenderableType:
    """Lay out the steps with a mark each, and below them what is to be said about those at hand."""
    grid = Table.grid(padding=(0, 2, 0, 0))
    for one in state.steps:
        style = STYLES.get(one.progress, "")
        grid.add_row(
            Text(MARKS[one.progress], style=style), Text(one.step.name, style=style, no_wrap=True), Text(_told(one))
        )
    told: list[RenderableType] = [Text(f"Steps: {state.work.title}", style="bold"), Padding(grid, (0, 0, 0, 2))]
    if state.ran_out:
        told += [Text("Ran out of time", style="bold reverse"), *_ran_out(state)]
    if state.remarks:
        told += [Text("The clock", style="bold reverse"), *_remarks(state.remarks)]
    told += _running(state)
    for one in state.those(Progress.HELD, Progress.NEXT):
        told += [Text(f"{MARKS[one.progress]} {one.step.name}: {one.step.title}", style="bold"), *_at_hand(one, state)]
    return Group(*told)


def people_table(people: list[Person]) -> RenderableType:
    """Lay out the list of people."""
    if not people:
        return Text("Nobody in this log yet. Name the keeper with prepcheck person add NAME --role keeper.")
    grid = Table.grid(padding=(0, 2, 0, 0))
    for person in people:
        grid.add_row(Text(person.name, style="bold"), Text(person.role or "no role, may log"))
    return grid


def _told(state: StepState) -> str:
    if state.progress is Progress.OPEN or (state.progress is Progress.NEXT and not state.note):
        return state.note or state.progress.value
    if state.progress is Progress.NEXT:
        return f"next; {state.note}"
    if state.progress is Progress.HELD:
        return f"done by {state.did}, {_when(state.did_at)}; waits for a named person"
    return "\n".join(_finished(state))


def _finished(state: StepState) -> Iterator[str]:
    role = f" ({state.role})" if state.role else ""
    what = "released" if state.step.hold_point else "done"
    yield f"{what} by {state.by}{role}, {_when(state.at)}"
    for one in state.against:
        yield f"although: {one}"
    if state.note:
        yield f"{'because' if state.against else 'note'}: {state.note}"


def _ran_out(state: JobState) -> Iterator[RenderableType]:
    for remark in state.ran_out:
        names = [one.step.name for one in state.steps if remark in one.remarks]
        yield from _remarks((remark,), f"{', '.join(names)}, ")


def _running(state: JobState) -> Iterator[RenderableType]:
    """Say what time runs for steps that are not at hand yet."""
    for one in state.those(Progress.OPEN):
        yield from _remarks(tuple(said for said in one.remarks if said.code == "time_left"), f"{one.step.name}, ")


def _at_hand(state: StepState, job: JobState) -> Iterator[RenderableType]:
    told = set(job.ran_out) | set(job.remarks)
    yield from _remarks(tuple(one for one in state.remarks if one not in told))


def _remarks(remarks: tuple[Remark, ...], before: str = "") -> Iterator[RenderableType]:
    for one in remarks:
        lead = Text(f"{before}{_LEAD[one.weight]}: ", style="bold" if one.weight is Weight.HOLD else "")
        source = (f" [{one.source}]" if one.source else "", "dim")
        yield Padding(Text.assemble(lead, one.text, source), (0, 0, 0, 4))


def _when(at: str) -> str:
    return f"{datetime.fromisoformat(at):%Y-%m-%d %H:%M}"
