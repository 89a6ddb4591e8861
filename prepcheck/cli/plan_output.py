"""Options that the ``prepcheck plan`` commands share, and how a plan is printed and logged."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from prepcheck.cli.moment import now
from prepcheck.cli.output import print_json
from prepcheck.errors import WrongUse, printable

if TYPE_CHECKING:
    from rich.table import Table
    from rich.text import Text

    from prepcheck.settings import Settings
    from prepcheck.store import StoreAddress
    from prepcheck.trade.plan import Plan

JobNumber = Annotated[str | None, typer.Option("--job", help="Log the plan in this job.")]
Person = Annotated[str | None, typer.Option("--person", help="Who logs it.")]
PlanJson = Annotated[bool, typer.Option("--json", help="Print one line of JSON instead of a table.")]


@dataclass(frozen=True)
class Told:
    """Where a plan goes: the job and the person to log it under, both or neither, and how it is printed."""

    job: str | None
    person: str | None
    json: bool
    store: StoreAddress | None
    settings: Settings

    def __post_init__(self) -> None:
        if (self.job is None) != (self.person is None):
            raise WrongUse("a plan is logged in a job by a person", "Give both --job and --person, or neither")


def finish(plan: Plan, told: Told) -> None:
    """Log the plan when a job was named, print it, and leave with code 1 when something in it holds.

    Raises
    ------
    typer.Exit
        With code 1: a person has to settle something first.
    """
    if told.job is not None and told.person is not None:
        _log(plan, told, told.job, told.person)
    if told.json:
        print_json(_as_object(plan))
    else:
        _print(plan)
    if told.job is not None and not told.json:
        typer.echo(f"Logged in job {_number(told.job)}.")
    if plan.holds:
        raise typer.Exit(1)


def _log(plan: Plan, told: Told, job: str, person: str) -> None:
    from prepcheck import tasks
    from prepcheck.trade.plan import as_entry

    log, _ = tasks.open_log(told.store, told.settings, create=False)
    tasks.log_entry(log, job, as_entry(plan), person=person, at=now(), settings=told.settings)


def _number(job: str) -> str:
    from prepcheck.store import job_number

    return job_number(job)


def _as_object(plan: Plan) -> dict[str, Any]:
    return {**asdict(plan), "inputs": dict(plan.inputs)}


GIVEN = "given"
"""Source of what a person typed."""
NARROW = 60
"""Columns below which the source of a value stands under it."""


def _print(plan: Plan) -> None:
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False)
    console.print(_table(plan, narrow=console.width < NARROW))
    for one in plan.remarks:
        source = f" ({printable(one.source)})" if one.source else ""
        console.print(Text(f"{one.weight.value.upper()}: {printable(one.text)}{source}"))


def _table(plan: Plan, *, narrow: bool) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading, share in (("what", 2), ("value, source", 3)) if narrow else (("what", 3), ("value", 3), ("source", 4)):
        table.add_column(heading, ratio=share, overflow="fold")
    for row in ((name, value, GIVEN) for name, value in plan.inputs):
        table.add_row(*_cells(row, narrow))
    table.add_section()
    for line in plan.lines:
        table.add_row(*_cells((line.label, line.value, line.source), narrow))
    return table


def _cells(row: tuple[str, str, str], narrow: bool) -> tuple[Text, ...]:
    from rich.text import Text

    what, value, source = map(printable, row)
    if not narrow:
        return Text(what), Text(value), Text(source)
    between = " " if source == GIVEN else "\n"
    return Text(what), Text.assemble(value, (f"{between}({source})" if source else "", "dim"))
