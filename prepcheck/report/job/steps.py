"""The job's steps: how each stands, who released it and when, and every release over something that spoke against it."""

from __future__ import annotations

from prepcheck.report.job.content import Block, Facts, Section, Table, Words
from prepcheck.report.job.told import Told, by
from prepcheck.store.rows import LoggedEvent
from prepcheck.trade import entries as e

_STEP_ENTRIES = (e.StepDone, e.StepReleased, e.StepReopened)


def steps(told: Told) -> Section:
    """Tell the plan's steps as they stand, everything logged about them, and the overrides."""
    blocks: list[Block] = [_chosen(told)]
    if told.steps:
        blocks.append(_plan(told))
    logged = _logged(told)
    blocks.append(logged if logged.rows else Words("No step was said to be done or released."))
    return Section("Steps and releases", (*blocks, *_overrides(told)))


def _chosen(told: Told) -> Words:
    chosen = told.of(e.WorkChosen)
    if not chosen:
        return Words("No plan of steps was chosen for this job.")
    event, entry = chosen[-1]
    return Words(f"{entry.work}, chosen {told.when(event.at)} by {by(event)}.", "Plan of steps:")


def _plan(told: Told) -> Table:
    rows = tuple(
        (
            step.name,
            "hold point" if step.hold else "",
            step.standing,
            told.when(step.at) if step.at else "-",
            f"{step.person} ({step.role})" if step.role else step.person or "-",
            "; ".join(step.against) or "-",
        )
        for step in told.steps
    )
    heads = ("Step", "Kind", "Stands", "When", "Who", "Against it")
    return Table("The plan's steps at the time of writing", heads, rows, (18, 13, 14, 19, 22, 34))


def _logged(told: Told) -> Table:
    of_steps = [event for event in told.story.events if isinstance(event.entry, _STEP_ENTRIES)]
    rows = tuple((told.when(event.at), *_row(event)) for event in of_steps)
    return Table("As logged, in order", ("When", "Step", "What", "Who", "Note or reason"), rows, (19, 15, 17, 24, 45))


def _row(event: LoggedEvent) -> tuple[str, str, str, str]:
    entry = event.entry
    if isinstance(entry, e.StepReleased):
        return entry.step, "released, override" if entry.override else "released", by(event), entry.reason or "-"
    if isinstance(entry, e.StepReopened):
        return entry.step, "opened again", by(event), entry.reason
    return (entry.step, "done", by(event), entry.note or "-") if isinstance(entry, e.StepDone) else ("", "", "", "")


def _overrides(told: Told) -> list[Block]:
    over = [(event, entry) for event, entry in told.of(e.StepReleased) if entry.override]
    if not over:
        return [Words("None.", "Overrides:")]
    return [Words("A person released these although something spoke against it:", "Overrides:"), *map(_override, over)]


def _override(one: tuple[LoggedEvent, e.StepReleased]) -> Facts:
    event, entry = one
    rows = (
        ("Released by", by(event)),
        ("Spoke against it", "; ".join(entry.against) or "not logged"),
        ("Reason given", entry.reason or "none given"),
    )
    return Facts(f"Override at {entry.step}", rows)
