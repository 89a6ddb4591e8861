"""``prepcheck report``: the report of a whole job, to hand over."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated, Literal

import typer

from prepcheck.cli.options import SettingsFile, Store, Units


def report(
    number: Annotated[str, typer.Argument(help="The job's number, such as J-0001.")],
    out: Annotated[Path, typer.Option(help="Folder for the files; made when missing.")] = Path(),
    pdf: Annotated[bool, typer.Option("--pdf", help="Write the PDF.")] = False,
    html: Annotated[bool, typer.Option("--html", help="Write one page that needs nothing else.")] = False,
    csv: Annotated[bool, typer.Option("--csv", help="Write tables of everything.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Write everything as JSON, in the log's own units.")] = False,
    hatch: Annotated[
        bool, typer.Option(help="Look at the photos again to hatch what was mapped; about a second for each.")
    ] = True,
    units: Units = None,
    paper: Annotated[
        Literal["a4", "letter"] | None, typer.Option(help="Paper of the PDF; the shop's setting otherwise.")
    ] = None,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Write the report of a job: what was done, by whom, what was measured and where each figure comes from.

    Without --pdf, --html, --csv or --json it writes the PDF and the page.
    """
    from prepcheck import tasks
    from prepcheck.cli.job import now
    from prepcheck.errors import printable
    from prepcheck.report.card_sheet import Paper
    from prepcheck.report.job.gather import gather
    from prepcheck.report.job.write import USUAL, Form, write_report
    from prepcheck.settings import load
    from prepcheck.tasks.shop_fit import shop_model
    from prepcheck.trade.units import System

    asked = {Form.PDF: pdf, Form.HTML: html, Form.CSV: csv, Form.JSON: json}
    loaded = load(settings).shown_in(units, paper)
    log, archive = tasks.open_log(store, loaded, create=False)
    story = tasks.job_story(log, number)
    model = partial(shop_model, log, loaded)
    told = gather(log, archive.get, story, now(), loaded, System(loaded.report.units), model if hatch else None)
    forms = tuple(form for form, wanted in asked.items() if wanted) or USUAL
    for path in write_report(told, out, forms, Paper(loaded.report.paper)):
        typer.echo(f"Written: {printable(str(path))}")
