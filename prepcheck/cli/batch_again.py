"""``prepcheck batch --again``: the photos of a log once more, with the model and settings of today."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from prepcheck.cli.output import print_json
from prepcheck.errors import printable

if TYPE_CHECKING:
    from prepcheck.batch.crew import Crew
    from prepcheck.batch.log import LogCount
    from prepcheck.batch.work import LookSpec
    from prepcheck.report.contact_change import ChangeSheet
    from prepcheck.store import StoreAddress


def look_again(
    out: Path,
    store: StoreAddress | None,
    spec: LookSpec,
    crew_of: Callable[[], Crew],
    job: str | None,
    person: str | None,
    *,
    json: bool,
) -> int:
    """Look at the log's photos again, write the report, and log it where a `person` answers; return the exit code."""
    from prepcheck.batch.again import FILE, open_logged
    from prepcheck.batch.again_log import log_changes
    from prepcheck.batch.again_report import write_report
    from prepcheck.batch.ledger import Ledger
    from prepcheck.batch.log import LogCount
    from prepcheck.batch.run import Way
    from prepcheck.cli.batch_text import progress
    from prepcheck.cli.moment import now
    from prepcheck.report.files import make_folder

    logged, archive = open_logged(store, job, spec)
    make_folder(out)
    way = Way(spec)
    with closing(Ledger(out / FILE)) as ledger, closing(crew_of()) as crew:
        work = logged.round(way, ledger)
        to_do = sum(1 for _ in work.to_do())
        typer.echo(f"{to_do:,} to look at again", err=True)
        with progress(to_do) as step:
            work.work(crew, step)
        count = LogCount() if person is None else log_changes(logged, archive, way, ledger, person, now())
        sheet, files = write_report(logged, ledger, out, spec)
    _tell(sheet, count, files, json)
    return 3 if sheet.not_read else 1 if sheet.other or count.faults else 0


def _tell(sheet: ChangeSheet, count: LogCount, files: list[Path], json: bool) -> None:
    from prepcheck.cli.batch_text import log_words
    from prepcheck.report.contact_change import shares_words
    from prepcheck.terms import CAUTION_LINE

    if json:
        told = {"inspections": sheet.all_of, "other_standing": sheet.other, "not_looked_at": sheet.not_read}
        logged = {"logged": count.logged, "logged_before": count.before, "not_logged": count.faults}
        print_json({**told, **logged, "files": [str(path) for path in files]})
        return
    typer.echo(shares_words(sheet))
    for (before, after), number in sheet.counts.items():
        typer.echo(f"  {before}, now {after}: {number:,}")
    typer.echo("\n".join([*log_words(count), CAUTION_LINE, *(f"Written: {printable(str(path))}" for path in files)]))
