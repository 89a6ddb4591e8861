"""``prepcheck report``: the report of a whole job, to hand over."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from prepcheck.cli.options import Hatch, JobNumber, LogOptions, PaperSize, Units


def report(
    number: JobNumber,
    *,
    out: Annotated[Path, typer.Option(help="Folder for the files; made when missing.")] = Path(),
    pdf: Annotated[bool, typer.Option("--pdf", help="Write the PDF.")] = False,
    html: Annotated[bool, typer.Option("--html", help="Write one page that needs nothing else.")] = False,
    csv: Annotated[bool, typer.Option("--csv", help="Write tables of everything.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Write everything as JSON, in the log's own units.")] = False,
    hatch: Hatch = True,
    units: Units = None,
    paper: PaperSize = None,
    where: LogOptions,
) -> None:
    """Write the report of a job: what was done, by whom, what was measured and where each figure comes from.

    Without --pdf, --html, --csv or --json it writes the PDF and the page.
    """
    from prepcheck import tasks
    from prepcheck.cli.moment import now
    from prepcheck.errors import printable
    from prepcheck.report.card_sheet import Paper
    from prepcheck.report.job.gather import gather
    from prepcheck.report.job.write import USUAL, Form, write_report
    from prepcheck.tasks.shop_fit import shop_model
    from prepcheck.trade.units import System

    asked = {Form.PDF: pdf, Form.HTML: html, Form.CSV: csv, Form.JSON: json}
    log, archive, settings = where.open(units=units, paper=paper)
    story = tasks.job_story(log, number)
    model = partial(shop_model, log, settings)
    told = gather(log, archive.get, story, now(), settings, System(settings.report.units), model if hatch else None)
    forms = tuple(form for form, wanted in asked.items() if wanted) or USUAL
    for path in write_report(told, out, forms, Paper(settings.report.paper)):
        typer.echo(f"Written: {printable(str(path))}")
