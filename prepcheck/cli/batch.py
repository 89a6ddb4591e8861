"""``prepcheck batch``: a folder of photos, or a zip file of them, into a table and a contact sheet."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.options import Json, LogOptions, ModelName
from prepcheck.cli.output import print_json
from prepcheck.errors import WrongUse, printable

if TYPE_CHECKING:
    from prepcheck.batch.batch import Batch, Plan
    from prepcheck.batch.call import Said
    from prepcheck.batch.crew import Crew
    from prepcheck.batch.work import LookSpec
    from prepcheck.store import StoreAddress

_STOPPED = 130
"""Exit code after Ctrl-C, as shells have it."""


@dataclass(frozen=True)
class SaidOptions:
    """What is said of all photos, or for each by its name or in a table."""

    job: Annotated[str | None, typer.Option(help="Log the photos into this job.")] = None
    spot: Annotated[str | None, typer.Option(help="The job's spot that all photos show.")] = None
    person: Annotated[str | None, typer.Option(help="Who answers for the photos.")] = None
    names: Annotated[
        str | None,
        typer.Option(help="What file names say, such as {job}_{spot}_{pass_no}; also {person}, and {} for anything."),
    ] = None
    sidecar: Annotated[
        Path | None,
        typer.Option(
            help="CSV with a line for each file: file, job, spot, pass_no, person, mm_per_px, outline, note, set."
            " Photos with the same word under set are one moved-light set: 2 to 6 of one view in which only the torch moved,"
            " with the same told of each; the first line's photo comes first and gives the answer its name."
        ),
    ] = None
    new_people: Annotated[bool, typer.Option("--new-people", help="Names of people may be new to the log.")] = False

    def of_log(self) -> bool:
        """Whether anything is said that the log has to know."""
        return any((self.job, self.spot, self.person, self.names, self.sidecar))


@dataclass(frozen=True)
class AgainOptions:
    """Whether the photos of the log are looked at once more, and what comes of it."""

    again: Annotated[
        bool,
        typer.Option("--again", help="Not SOURCE but what the log has, all of it or --job, is looked at once more."),
    ] = False
    log: Annotated[bool, typer.Option("--log", help="With --again: log new inspections that correct the old ones.")] = (
        False
    )


@dataclass(frozen=True)
class CrewOptions:
    """Who does the work."""

    workers: Annotated[int | None, typer.Option(min=1, max=256, help="Processes; one for each core otherwise.")] = None
    cluster: Annotated[str | None, typer.Option(help="Address of a Dask scheduler whose workers do the work.")] = None
    cluster_keys: Annotated[Path | None, typer.Option(help="Folder with the keys of the cluster.")] = None


@dataclass(frozen=True)
class RoundOptions:
    """How long it goes on, and what is written."""

    watch: Annotated[bool, typer.Option("--watch", help="Go on with photos that are added, until Ctrl-C.")] = False
    parquet: Annotated[
        bool | None, typer.Option("--parquet/--no-parquet", help="Write Parquet too; where that can be otherwise.")
    ] = None


def batch(
    out: Annotated[Path, typer.Option(help="Folder for tables and contact sheet; the same one again goes on.")],
    source: Annotated[
        str | None,
        typer.Argument(
            metavar="[SOURCE]",
            help="Folder or zip file with photos and clips, or an address such as s3://bucket/folder.",
        ),
    ] = None,
    *,
    mm_per_px: Annotated[float | None, typer.Option(help="State a known scale, mm per pixel of each photo.")] = None,
    told: SaidOptions,
    once_more: AgainOptions,
    by: CrewOptions,
    rounds: RoundOptions,
    model: ModelName = None,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Look at many photos: one table, and a contact sheet with the worst first.

    Ended in any way, it goes on where it was: call it again with the same --out. A file that cannot be read is a line of
    the table, and the rest go on. A clip (.mp4, .mov) is one moved-light set. With --again, the log's own photos, and a
    report of what is different now.
    """
    from prepcheck.batch.call import Said, crew_of
    from prepcheck.batch.work import LookSpec
    from prepcheck.looking import at_shop, prepare
    from prepcheck.store import default_folder

    look = prepare(settings_file=where.settings, model_name=model, mm_per_px=mm_per_px, photos=2)
    if where.store is not None or once_more.again or told.of_log():
        look = at_shop(look, where.store or default_folder())
    spec, crew = LookSpec.of(look), partial(crew_of, by.workers, by.cluster, by.cluster_keys)
    if once_more.again:
        from prepcheck.cli.batch_again import look_again

        _refuse(source, told.spot, told.names, told.sidecar, mm_per_px, rounds.watch)
        if once_more.log and not told.person:
            raise WrongUse("nobody answers for what is logged", "Say who with --person")
        person = told.person if once_more.log else None
        sys.exit(_to_the_end(lambda: look_again(out, where.store, spec, crew, told.job, person, json=json)))
    if source is None or once_more.log:
        raise WrongUse(
            "SOURCE is missing" if source is None else "--log goes with --again", "See prepcheck batch --help"
        )
    places = {"job": told.job, "spot": told.spot, "person": told.person}
    said = Said(places, told.names, told.sidecar, told.new_people, photos_come=rounds.watch)
    sys.exit(_to_the_end(lambda: _look(source, out, said, spec, crew, where.store, rounds, json=json)))


def _to_the_end(work: Callable[[], int]) -> int:
    """Return the exit code of `work`, also when it is stopped by Ctrl-C."""
    try:
        return work()
    except KeyboardInterrupt:
        typer.echo("\nStopped. Call again with the same --out to go on.", err=True)
        return _STOPPED


def _look(
    source: str,
    out: Path,
    said: Said,
    spec: LookSpec,
    crew_of: Callable[[], Crew],
    store: StoreAddress | None,
    rounds: RoundOptions,
    *,
    json: bool,
) -> int:
    """Check what was said, then look at the photos of a source."""
    from prepcheck.batch.batch import check_apart, open_batch
    from prepcheck.batch.call import checked_log, in_sets, source_at
    from prepcheck.batch.run import Way
    from prepcheck.batch.sources import photos

    check_apart(Path(source), out)
    opened, placing = source_at(source, spec.settings), said.read()
    log = checked_log(said, placing, opened, store, spec.settings)
    if not rounds.watch and next(photos(opened), None) is None:
        raise WrongUse("holds no photo", "Name the folder with the photos", opened.name)
    batch = open_batch(in_sets(opened, placing), Way(spec, placing.scale_of), out, log, parquet=rounds.parquet)
    with closing(batch.ledger), closing(crew_of()) as crew:
        return _watch(batch, crew, json) if rounds.watch else _work(batch, crew, json)


def _refuse(*given: object) -> None:
    if any(given):
        raise WrongUse(
            "--again takes photos and places from the log", "Leave out SOURCE and what is said of its photos"
        )


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
    from prepcheck.cli.moment import now

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
    from prepcheck.cli.moment import now

    with text.progress(batch.to_log()) as step:
        logged = batch.add_to_log(now(), step)
    files, counts = batch.write(), batch.ledger.counts()
    text.tell_errors(batch.ledger)
    made = text.Made(plan.survey, looked_at, counts, logged, files)
    print_json(made.plain()) if json else typer.echo(made.words())
    return max(batch.exit_code, 1 if logged.faults else 0)
