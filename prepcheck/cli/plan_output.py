"""Options that the ``prepcheck plan`` commands share, and how a plan is printed and logged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from prepcheck.cli.commands import said_by
from prepcheck.cli.moment import now
from prepcheck.cli.options import LogOptions, Units
from prepcheck.cli.output import print_json
from prepcheck.errors import WrongUse, printable

if TYPE_CHECKING:
    from rich.table import Table
    from rich.text import Text

    from prepcheck.trade.plan import Plan
    from prepcheck.trade.plans import Asked


@dataclass(frozen=True)
class PlanOptions:
    """In which units a plan is told, how it is printed, and the job and the person to log it under: both or neither."""

    units: Units = None
    job: Annotated[str | None, typer.Option("--job", help="Log the plan in this job.")] = None
    person: Annotated[str | None, typer.Option("--person", help="Who logs it.")] = None
    json: Annotated[bool, typer.Option("--json", help="Print one line of JSON instead of a table.")] = False

    def __post_init__(self) -> None:
        if (self.job is None) != (self.person is None):
            raise WrongUse("a plan is logged in a job by a person", "Give both --job and --person, or neither")


def finish(make: Callable[[Asked], Plan], asked: Any, to: PlanOptions, where: LogOptions) -> None:
    """Make a plan of the options `asked`, log it when a job was named, print it, and leave with 1 when something holds.

    Raises
    ------
    typer.Exit
        With code 1: a person has to settle something first.
    """
    from prepcheck.settings import load
    from prepcheck.trade.plans import Asked

    told = Asked(said_by(asked), load(where.settings).shown_in(to.units), now())
    if to.job is None or to.person is None:
        plan, logged = make(told), ""
    else:
        plan, logged = _logged(make, told, to.job, to.person, where)
    if to.json:
        print_json(_as_object(plan))
    else:
        _print(plan)
        if logged:
            typer.echo(f"Logged in job {logged}.")
    if plan.holds:
        raise typer.Exit(1)


def _logged(make: Callable[[Asked], Plan], told: Asked, job: str, person: str, where: LogOptions) -> tuple[Plan, str]:
    """Make a plan with what the log has of the job, log it there, and return the job's number too."""
    from prepcheck import tasks
    from prepcheck.trade.plan import as_entry
    from prepcheck.trade.plans import looks_among

    log, *_ = where.open()
    story = tasks.job_story(log, job)
    plan = make(replace(told, looks=looks_among(event.entry for event in story.events)))
    tasks.log_entry(log, job, as_entry(plan), person=person, at=told.now, settings=told.settings)
    return plan, story.job.number


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
