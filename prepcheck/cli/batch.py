"""``prepcheck batch``: a folder of photos, or a zip file of them, into a table and a contact sheet."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.options import Json, SettingsFile, Store
from prepcheck.errors import WrongUse, printable

if TYPE_CHECKING:
    from prepcheck.batch.batch import Batch, Plan
    from prepcheck.batch.crew import Crew

_STOPPED = 130
"""Exit code after Ctrl-C, as shells have it."""


def batch(
    source: Annotated[Path, typer.Argument(metavar="SOURCE", help="Folder with photos, or a zip file of them.")],
    out: Annotated[Path, typer.Option(help="Folder for tables and contact sheet; the same one again goes on.")],
    mm_per_px: Annotated[float | None, typer.Option(help="State a known scale, mm per pixel of each photo.")] = None,
    job: Annotated[str | None, typer.Option(help="Log the photos into this job.")] = None,
    spot: Annotated[str | None, typer.Option(help="The job's spot that all photos show.")] = None,
    person: Annotated[str | None, typer.Option(help="Who answers for the photos.")] = None,
    names: Annotated[
        str | None,
        typer.Option(help="What file names say, such as {job}_{spot}_{pass_no}; also {person}, and {} for anything."),
    ] = None,
    sidecar: Annotated[
        Path | None,
        typer.Option(help="CSV with a line for each file: file, job, spot, pass_no, person, mm_per_px, outline, note."),
    ] = None,
    new_people: Annotated[bool, typer.Option("--new-people", help="Names of people may be new to the log.")] = False,
    workers: Annotated[int | None, typer.Option(min=1, max=256, help="Processes; one for each core otherwise.")] = None,
    watch: Annotated[bool, typer.Option("--watch", help="Go on with photos that are added, until Ctrl-C.")] = False,
    parquet: Annotated[
        bool | None, typer.Option("--parquet/--no-parquet", help="Write Parquet too; where that can be otherwise.")
    ] = None,
    model: Annotated[str | None, typer.Option(help="Another model of the registry.")] = None,
    json: Json = False,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Look at many photos: one table, and a contact sheet with the worst first.

    Ended in any way, it goes on where it was: call it again with the same --out. A file that cannot be read is a line of
    the table, and the rest go on.
    """
    from prepcheck.batch.batch import check_apart, open_batch
    from prepcheck.batch.call import Said, checked_log
    from prepcheck.batch.crew import Workers
    from prepcheck.batch.run import Way
    from prepcheck.batch.sources import open_source, photos
    from prepcheck.batch.work import LookSpec
    from prepcheck.looking import prepare

    check_apart(source, out)
    look = prepare(settings_file=settings, model_name=model, mm_per_px=mm_per_px, photos=2)
    opened = open_source(source, look.settings.photo.max_bytes)
    said = Said({"job": job, "spot": spot, "person": person}, names, sidecar, new_people, photos_come=watch)
    placing = said.read()
    log = checked_log(said, placing, opened, store, look.settings)
    if not watch and next(photos(opened), None) is None:
        raise WrongUse("holds no photo", "Name the folder with the photos", opened.name)
    batch = open_batch(opened, Way(LookSpec.of(look), placing.scale_of), out, log, parquet=parquet)
    crew = Workers(workers or os.cpu_count() or 1)
    try:
        code = _watch(batch, crew, json) if watch else _work(batch, crew, json)
    except KeyboardInterrupt:
        typer.echo("\nStopped. Call again with the same --out to go on.", err=True)
        code = _STOPPED
    finally:
        crew.close()
        batch.ledger.close()
    sys.exit(code)


def _work(batch: Batch, crew: Crew, json: bool) -> int:
    """Do one round, write what came of it, and return the exit code."""
    from prepcheck.cli import batch_text as text

    plan = batch.plan()
    typer.echo(text.plan_text(plan), err=True)
    with text.progress(plan.to_do) as step:
        looked_at = batch.look(crew, step)
    return _finish(batch, plan, looked_at, json)


def _watch(batch: Batch, crew: Crew, json: bool) -> int:
    """Take photos as they come until Ctrl-C, then write all of it and return the exit code."""
    from prepcheck.batch.watch import POLL_S, Quiet
    from prepcheck.cli.batch_text import done_words
    from prepcheck.cli.job import now

    typer.echo(f"Waiting for photos in {printable(batch.source.name)}; Ctrl-C ends it.", err=True)
    looked_at, quiet = 0, Quiet()
    try:
        while True:
            if new := batch.look(crew, ready=quiet):
                looked_at += new
                batch.add_to_log(now())
                batch.write()
                typer.echo(done_words(new, batch.ledger.counts()), err=True)
            time.sleep(POLL_S)
    except KeyboardInterrupt:
        typer.echo("", err=True)
    return _finish(batch, batch.plan(), looked_at, json)


def _finish(batch: Batch, plan: Plan, looked_at: int, json: bool) -> int:
    """Log what has a place, write tables and sheets, say what came of it, and return the exit code."""
    from prepcheck.cli import batch_text as text
    from prepcheck.cli.job import now, print_json

    logged = batch.add_to_log(now())
    files, counts = batch.write(), batch.ledger.counts()
    text.tell_errors(batch.ledger)
    made = text.Made(plan.survey, looked_at, counts, logged, files)
    print_json(made.plain()) if json else typer.echo(made.words())
    return max(batch.exit_code, 1 if logged.faults else 0)
