"""``prepcheck batch``: a folder of photos, or a zip file of them, into a table and a contact sheet."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.options import Json, SettingsFile, Store
from prepcheck.errors import WrongUse

if TYPE_CHECKING:
    from prepcheck.batch.batch import Batch
    from prepcheck.batch.crew import Crew


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
    from prepcheck.batch.sources import open_source
    from prepcheck.batch.work import LookSpec
    from prepcheck.looking import prepare

    check_apart(source, out)
    look = prepare(settings_file=settings, model_name=model, mm_per_px=mm_per_px, photos=2)
    opened = open_source(source, look.settings.photo.max_bytes)
    said = Said({"job": job, "spot": spot, "person": person}, names, sidecar, new_people)
    placing = said.read()
    log = checked_log(said, placing, opened, store, look.settings)
    batch = open_batch(opened, Way(LookSpec.of(look), placing.scale_of), out, log, parquet=parquet)
    crew = Workers(workers or os.cpu_count() or 1)
    try:
        code = _work(batch, crew, json)
    finally:
        crew.close()
        batch.ledger.close()
    sys.exit(code)


def _work(batch: Batch, crew: Crew, json: bool) -> int:
    """Do one round, write what came of it, and return the exit code."""
    from prepcheck.cli import batch_text as text
    from prepcheck.cli.job import now, print_json

    plan = batch.plan()
    typer.echo(text.plan_text(plan), err=True)
    if not plan.survey.photos:
        raise WrongUse("holds no photo", "Name the folder with the photos", batch.source.name)
    with text.progress(plan.to_do) as step:
        batch.look(crew, step)
    logged = batch.add_to_log(now())
    files, counts = batch.write(), batch.ledger.counts()
    text.tell_errors(batch.ledger)
    made = text.Made(plan, counts, logged, files)
    print_json(made.plain()) if json else typer.echo(made.words())
    return max(batch.exit_code, 1 if logged.faults else 0)
