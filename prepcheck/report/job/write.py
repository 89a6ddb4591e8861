"""Writes the files of a report: each whole or not at all."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path

from prepcheck.errors import WrongUse
from prepcheck.report.card_sheet import Paper
from prepcheck.report.files import write_whole
from prepcheck.report.job.build import report_of
from prepcheck.report.job.content import Report
from prepcheck.report.job.page import page_of
from prepcheck.report.job.tables import csv_tables, json_of
from prepcheck.report.job.told import Told


class Form(StrEnum):
    """Files that a report can be written as."""

    PDF = "pdf"
    HTML = "html"
    CSV = "csv"
    JSON = "json"


USUAL = (Form.PDF, Form.HTML)


def write_report(told: Told, folder: Path, forms: tuple[Form, ...] = USUAL, paper: Paper = Paper.A4) -> list[Path]:
    """Write the report of a job into `folder`, which is made when missing, and return the files.

    Parameters
    ----------
    told : Told
        What the report is made from.
    folder : Path
        Where to write; files of an earlier report of the job are replaced.
    forms : tuple of Form
        What to write.
    paper : Paper
        Size of the PDF's pages.

    Raises
    ------
    WrongUse
        The optional part for PDFs is not installed; all else that was asked for is written all the same.
    CannotWrite
        The folder or a file cannot be written.
    """
    report = report_of(told) if {Form.PDF, Form.HTML} & set(forms) else None
    name = folder / f"{told.story.job.number}-report"
    files = {name.with_suffix(".html"): page_of(report)} if report and Form.HTML in forms else {}
    files |= _data_files(told, folder, forms)
    for path, text in files.items():
        write_whole(path, text.encode("utf-8-sig" if path.suffix == ".csv" else "utf-8"))
    if report is None or Form.PDF not in forms:
        return [*files]
    write_whole(name.with_suffix(".pdf"), report_pdf(report, paper))
    return [name.with_suffix(".pdf"), *files]


def report_pdf(report: Report, paper: Paper) -> bytes:
    """Return the report as a PDF; `WrongUse` without the optional part that makes them."""
    try:
        from prepcheck.report.job.pdf import pdf_of
    except ImportError as error:
        raise WrongUse(
            "the PDF of a report needs the optional part 'report'",
            "Install it (pip install 'prepcheck[report]'), or print the page",
            command="--html",
        ) from error
    return pdf_of(report, paper)


def _data_files(told: Told, folder: Path, forms: tuple[Form, ...]) -> dict[Path, str]:
    """Return the tables and the JSON that were asked for; CSV bears a mark that spreadsheets know UTF-8 by."""
    number = told.story.job.number
    files = {folder / f"{number}-report.json": json_of(told)} if Form.JSON in forms else {}
    tables = csv_tables(told) if Form.CSV in forms else {}
    return files | {folder / f"{number}-{name}.csv": text for name, text in tables.items()}
