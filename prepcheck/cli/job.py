"""``prepcheck job``: open jobs, list them, tell their story."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.commands import Commands
from prepcheck.cli.moment import now
from prepcheck.cli.options import JobNumber, Json, LogOptions, Units
from prepcheck.cli.output import print_json, print_rich, print_told, say_all
from prepcheck.errors import WrongUse, printable

if TYPE_CHECKING:
    from prepcheck.archive import Archive
    from prepcheck.settings import Settings
    from prepcheck.store import Job
    from prepcheck.store.store import Store as OpenLog

app = Commands("Open jobs, list them, tell what was logged.")


@app.command()
def new(
    title: Annotated[str, typer.Argument(help="What is to be done, in a few words.")],
    person: Annotated[str, typer.Option(help="Who opens the job.")],
    *,
    part: Annotated[str, typer.Option(help="The part and where on it.")] = "",
    alloy: Annotated[str, typer.Option(help="The alloy, if somebody knows it.")] = "",
    wall_mm: Annotated[float | None, typer.Option(help="Thickness of the wall in mm.")] = None,
    previous_contents: Annotated[str, typer.Option(help="What the part held before.")] = "",
    customer_reference: Annotated[str, typer.Option(help="The customer's own number.")] = "",
    json: Json = False,
    where: LogOptions,
) -> None:
    """Open a job and print its number."""
    from prepcheck import tasks
    from prepcheck.store import NewJob

    log, *_ = where.open(create=True)
    told = NewJob(title, part, alloy, wall_mm, previous_contents, customer_reference)
    job = tasks.open_job(log, told, person=person, at=now())
    print_json(job) if json else _say_opened(job)


@app.command("list")
def list_(
    *,
    standing: Annotated[
        str | None, typer.Option(help="Only jobs last seen so: bright, residue left, cannot tell or retake.")
    ] = None,
    newest: Annotated[int | None, typer.Option(help="At most so many.")] = None,
    before: Annotated[str | None, typer.Option(help="Only jobs opened before this one, such as J-0100.")] = None,
    json: Json = False,
    where: LogOptions,
) -> None:
    """List jobs, newest first."""
    from prepcheck import tasks
    from prepcheck.cli.story import jobs_table

    log, *_ = where.open()
    jobs = tasks.list_jobs(log, standing=standing, newest=newest, before=before)
    say_all(jobs, lambda: jobs_table(jobs, standing is not None or before is not None), as_json=json)


@app.command()
def show(
    number: JobNumber,
    *,
    spot: Annotated[str | None, typer.Option(help="Only this spot: its number or name.")] = None,
    picture: Annotated[
        Path | None, typer.Option(help="Write the spot's passes side by side, and their scores, here: .png or .jpg.")
    ] = None,
    units: Units = None,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Tell everything that was logged in a job, or on one spot of it."""
    from prepcheck import tasks
    from prepcheck.cli.story import story_text
    from prepcheck.trade.units import System

    log, archive, settings = where.open(units=units)
    if picture is not None:
        _write_history(picture, log, archive, number, spot, settings)
    story = tasks.job_story(log, number, spot)
    state = tasks.story_state(story, now(), settings)
    print_told(story, steps=state) if json else print_rich(story_text(story, state, System(settings.report.units)))
    if picture is not None and not json:
        typer.echo(f"Written: {printable(str(picture))}")


def _write_history(
    picture: Path, log: OpenLog, archive: Archive, job: str, spot: str | None, settings: Settings
) -> None:
    from prepcheck.passes import spot_history
    from prepcheck.report.picture import picture_format, write_picture
    from prepcheck.tasks.shop_fit import shop_model

    if spot is None:
        raise WrongUse("a picture shows the passes of one spot", "Name it with --spot", str(picture))
    picture_format(picture)
    write_picture(picture, spot_history(log, archive, job, spot, shop_model(log, settings), settings))


def _say_opened(job: Job) -> None:
    typer.echo(f"{job.number} opened: {job.title}")
    typer.echo(
        f"Choose its steps: prepcheck step plan {job.number} closed-vessel --person NAME (or open-vessel, plain-part)"
    )
    typer.echo(f"Log a photo: prepcheck inspect PHOTO --job {job.number} --spot 1 --pass-no 1 --person NAME")
