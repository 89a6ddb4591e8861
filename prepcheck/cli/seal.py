"""``prepcheck seal``: all evidence of a job in one signed bag."""

from __future__ import annotations

from datetime import datetime
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.files import read_file
from prepcheck.cli.moment import now
from prepcheck.cli.options import JobNumber, Json, LogOptions
from prepcheck.cli.output import print_json
from prepcheck.cli.pins import PinFile, given_pin
from prepcheck.errors import NameClash, Unreadable, printable

if TYPE_CHECKING:
    from prepcheck.archive import Archive
    from prepcheck.archive.job_seal import JobSealed
    from prepcheck.settings import Settings
    from prepcheck.store.store import Store as OpenLog

_MOST = 2**28


def seal(
    job: JobNumber,
    person: Annotated[str, typer.Option(help="Who seals.")],
    *,
    out: Annotated[
        Path | None, typer.Option(help="Folder or .zip file to make; J-0001-sealed-DATE-TIME here otherwise.")
    ] = None,
    as_zip: Annotated[bool, typer.Option("--zip", help="Make one zip file instead of a folder.")] = False,
    with_position: Annotated[
        bool,
        typer.Option(
            "--with-position", help="Include the originals of the photos, with the place where they were taken."
        ),
    ] = False,
    report: Annotated[bool, typer.Option(help="Make the job's report and include it.")] = True,
    include: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="Another file to include beside the report; give it again for more."),
    ] = None,
    pin_file: PinFile = None,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Seal a job: photos, records, entries, report and proofs in one bag, signed with the shop's key.

    Photos go in as copies without position, with the hashes of their originals beside them.
    """
    from prepcheck.archive.job_seal import seal_job
    from prepcheck.store import job_number
    from prepcheck.tasks.people import proved_role

    at = now()
    log, archive, settings = where.open()
    place = out or Path(f"{job_number(job)}-sealed-{at:%Y-%m-%d-%H%M%S}" + (".zip" if as_zip else ""))
    role = proved_role(log, person, given_pin(pin_file), at, settings)
    files = _read(include or [])
    files |= _report(log, archive, job, at, settings) if report else {}
    sealed = seal_job(
        log,
        archive,
        job,
        place.absolute(),
        person=person,
        at=at,
        role=role,
        as_zip=as_zip or place.suffix.lower() == ".zip",
        with_position=with_position,
        report_files=files,
    )
    print_json(sealed) if json else _say(sealed)


def _report(log: OpenLog, archive: Archive, job: str, at: datetime, settings: Settings) -> dict[str, bytes]:
    """Make the job's report; without the optional part for PDFs the page alone."""
    from prepcheck import tasks
    from prepcheck.report.card_sheet import Paper
    from prepcheck.report.job.gather import gather
    from prepcheck.report.job.write import USUAL, Form, write_report
    from prepcheck.tasks.shop_fit import shop_model
    from prepcheck.trade.units import System

    model = partial(shop_model, log, settings)
    told = gather(log, archive.get, tasks.job_story(log, job), at, settings, System(settings.report.units), model)
    forms = USUAL if find_spec("fpdf") else (Form.HTML,)
    with TemporaryDirectory() as folder:
        written = write_report(told, Path(folder), forms, Paper(settings.report.paper))
        return {path.name: path.read_bytes() for path in written}


def _read(paths: list[Path]) -> dict[str, bytes]:
    """Read the other files to include."""
    found: dict[str, bytes] = {}
    for path in paths:
        if path.name in found:
            raise NameClash("two files to include have this name", "Rename one of them", path.name)
        found[path.name] = read_file(path, _MOST + 1)
        if len(found[path.name]) > _MOST:
            raise Unreadable("is too large to be included", "Check the path", str(path))
    return found


def _say(done: JobSealed) -> None:
    bag = done.bag
    for path in done.finished:
        typer.echo(f"Finished an earlier seal that had been cut off: {printable(str(path))}")
    typer.echo(f"Sealed: {printable(str(bag.path))}")
    typer.echo(f"  {bag.entries} entries of the job, {bag.photos} photos, log of {bag.sealed.size} entries")
    for doubt in done.doubts:
        typer.echo(f"  doubt: {printable(doubt)}")
    for line in bag.left_out:
        typer.echo(f"  left out, hash listed: {printable(', '.join(line.names))} ({line.left_out})")
    for one in done.fits:
        typer.echo(f"  with the shop's own fit {one}, whose file names the photos that it rests on")
    for why in done.fits_left_out:
        typer.echo(f"  left out, hash in the answers: {printable(why)}")
    typer.echo(f"  key {done.fingerprint}")
    typer.echo(f"  tag manifest SHA-256 {bag.sealed.manifest_sha256}")
    typer.echo("The time is the shop's own word. For a timestamp of another: prepcheck timestamp BAG --request FILE")
    typer.echo("Have somebody else keep a copy: only an older bag shows a log that was written anew (verify --after).")
    typer.echo("Anybody can look at it with prepcheck verify BAG, or compare the hashes with check.html in the bag.")
