"""``prepcheck people``: people's work over time, told from the log. Names, roles and PINs: ``prepcheck person``."""

from __future__ import annotations

import gc
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from prepcheck.cli.commands import Commands
from prepcheck.cli.moment import now
from prepcheck.cli.options import Hatch, Json, LogOptions, PaperSize, Units
from prepcheck.cli.output import print_json, print_rich, say_all
from prepcheck.errors import WrongUse, printable
from prepcheck.trade.typed import day

if TYPE_CHECKING:
    from prepcheck.progress.gather import PersonWork
    from prepcheck.settings import Settings
    from prepcheck.store.store import Store as OpenLog

app = Commands(
    "People's work over time, told from the log: counts of their spots with intervals, no grades and no order of people."
    " A pseudonym is as good as a name. Roles and PINs: prepcheck person.",
)
_OBJECTS = 200_000
"""Made between two searches for circles of objects: much is read at once here, none of it in circles."""
Name = Annotated[str, typer.Argument(help="The person's name, as in people list.")]


@dataclass(frozen=True)
class Days:
    """From which day to which a person's spots are looked at."""

    since: Annotated[str | None, typer.Option(help="Only spots begun on this day or later, such as 2026-11-24.")] = None
    until: Annotated[str | None, typer.Option(help="Only spots begun on this day or before.")] = None

    def work_of(self, log: OpenLog, name: str, settings: Settings) -> PersonWork:
        """Tell the work of a person in these days."""
        from prepcheck.progress.gather import tell_person

        gc.set_threshold(_OBJECTS)
        since, until = day(self.since, "--since"), day(self.until, "--until")
        return tell_person(log, name, settings.progress, since, until)


@app.command("list")
def list_(*, json: Json = False, where: LogOptions) -> None:
    """List everybody in the log: how many photos they logged, in how many jobs, from when to when."""
    from prepcheck.cli.people_text import people_table
    from prepcheck.progress.log import list_work

    log, *_ = where.open()
    lines = list_work(log)
    say_all(lines, lambda: people_table(lines), as_json=json)


@app.command()
def show(
    name: Name,
    *,
    days: Days,
    by: Annotated[
        Literal["spots", "month"], typer.Option(help="Stretches over time: so many spots in order, or months.")
    ] = "spots",
    plot: Annotated[
        Path | None, typer.Option(help="Write the stretches with their intervals as a chart here: .svg")
    ] = None,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Tell a person's spots: bright at the first pass, passes needed, what was left and where, and all that over time."""
    from prepcheck.cli import people_text
    from prepcheck.report.feedback_tool import tool_errors

    log, _, settings = where.open()
    work = days.work_of(log, name, settings)
    if plot is not None:
        _write_plot(plot, work, by, settings)
    errors = tool_errors(work.models)
    if json:
        print_json(people_text.work_json(work, errors))
        return
    print_rich(people_text.work_text(work, errors, settings.progress, by))
    if plot is not None:
        typer.echo(f"Written: {printable(str(plot))}")


@app.command()
def compare(
    names: Annotated[list[str], typer.Argument(metavar="NAME NAME...", help="People, in the order to show them in.")],
    *,
    days: Days,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Put the counts of people side by side, in the order in which you name them."""
    from prepcheck.cli import people_text
    from prepcheck.report.feedback_tool import tool_errors

    log, _, settings = where.open()
    works = [days.work_of(log, name, settings) for name in names]
    if len({work.name for work in works}) < max(len(works), 2):
        raise WrongUse("a comparison takes two people or more", "Name each of them once", ", ".join(names))
    errors = tool_errors(sorted({model for work in works for model in work.models}))
    say_all(
        (people_text.work_json(work, errors) for work in works),
        lambda: people_text.compared(works, errors, settings.progress),
        as_json=json,
    )


@app.command()
def sheet(
    name: Name,
    out: Annotated[Path, typer.Option(help="The file to write: .pdf or .html.")],
    *,
    days: Days,
    hatch: Hatch = True,
    paper: PaperSize = None,
    units: Units = None,
    where: LogOptions,
) -> None:
    """Write a page for a person: their own spots and pictures, and what to look for next."""
    from prepcheck.report.card_sheet import Paper
    from prepcheck.report.feedback import check_format, sheet_of, write_sheet
    from prepcheck.report.feedback_tool import tool_errors
    from prepcheck.report.job.again import Again
    from prepcheck.surface import load_model
    from prepcheck.trade.units import System

    check_format(out)
    log, archive, settings = where.open(units=units, paper=paper)
    work = days.work_of(log, name, settings)
    states = Again(archive.get, load_model, settings) if hatch else lambda record: None
    system = System(settings.report.units)
    report = sheet_of(work, tool_errors(work.models), now(), settings.progress, archive.get, states, system)
    write_sheet(report, out, Paper(settings.report.paper))
    typer.echo(f"Written: {printable(str(out))}")


@app.command()
def kept(name: Name, *, json: Json = False, where: LogOptions) -> None:
    """Tell a person what the log keeps about them, and for how long. --json gives it to them, row by row."""
    from prepcheck.cli import people_text
    from prepcheck.progress.log import kept_about

    log, _, settings = where.open()
    found = kept_about(log, name)
    say_all(
        [people_text.kept_json(found, settings.progress.keep_months)],
        lambda: people_text.kept_text(found, settings.progress.keep_months),
        as_json=json,
    )


@app.command()
def reused(
    *,
    name: Annotated[str | None, typer.Option("--person", help="Only photos that this person logged.")] = None,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Ask about photos that were logged twice, look alike, or are older than the pass they were logged for."""
    from datetime import timedelta

    from prepcheck.cli import people_text
    from prepcheck.progress.log import find, logged_photos
    from prepcheck.progress.reused import questions

    log, _, settings = where.open()
    person = None if name is None else find(log, name)[1]
    oldest, slack = timedelta(hours=settings.progress.old_photo_hours), timedelta(seconds=settings.steps.clock_slack_s)
    photos = logged_photos(log)
    found = list(questions(photos, settings.store.near_duplicate_bits, oldest, slack))
    asked = [one for one in found if person is None or person in one.people]
    say_all(
        (people_text.question_json(one) for one in asked),
        lambda: "\n".join(people_text.questions_text(asked, len(photos))),
        as_json=json,
    )


def _write_plot(plot: Path, work: PersonWork, by: str, settings: Settings) -> None:
    from prepcheck.report.feedback_chart import AXES, chart_file, over_time
    from prepcheck.report.files import write_whole

    if plot.suffix.lower() != ".svg":
        raise WrongUse("a chart is written as .svg", "End the name with .svg", plot.name)
    blocks = work.months if by == "month" else work.blocks
    write_whole(plot, chart_file(over_time(blocks, settings.progress.least_spots, AXES[by])).encode())
