"""The feedback sheet: one page about a person's own spots, in plain words, with their own pictures."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from prepcheck import __version__
from prepcheck.errors import WrongUse
from prepcheck.progress.gather import PersonWork
from prepcheck.record import Record
from prepcheck.report import feedback_words as say
from prepcheck.report.card_sheet import Paper
from prepcheck.report.feedback_chart import AXES, over_time
from prepcheck.report.feedback_pictures import pictures_of
from prepcheck.report.feedback_tool import ToolErrors
from prepcheck.report.files import write_whole
from prepcheck.report.job.content import Block, Chart, Facts, Picture, Report, Strip, Tone, Words
from prepcheck.report.job.page import page_of
from prepcheck.report.job.write import report_pdf
from prepcheck.settings import ProgressSettings
from prepcheck.terms import CAUTION_LINE, HOT_WORK_LINE
from prepcheck.trade.units import System

INVENTED = "Invented demo data: people, spots and readings are made up."
KEPT = "What the log keeps about you, and for how long: prepcheck people kept."
FORMATS = (".pdf", ".html")
_PAGE = re.compile(rb"/Type\s*/Page\b")


def sheet_of(
    work: PersonWork,
    errors: Sequence[ToolErrors],
    now: datetime,
    settings: ProgressSettings,
    photo: Callable[[str], bytes],
    states: Callable[[Record], NDArray[np.uint8] | None],
    system: System = System.METRIC,
) -> Report:
    """Return the sheet about a person's work.

    Parameters
    ----------
    work : PersonWork
        From `prepcheck.progress.gather.tell_person`.
    errors : sequence of ToolErrors
        Of the models that answered.
    now : datetime
        With an offset.
    settings : ProgressSettings
        From how many spots on a share is told.
    photo, states : callable
        The bytes of a photo by SHA-256; the states mapped in a logged photo, or None for no hatches.
    system : System
        Units of lengths.
    """
    offset = f"UTC{now.isoformat()[-6:]}" if now.utcoffset() else "UTC"
    return Report(
        kind="Feedback sheet",
        job="",
        title=work.name,
        written=f"{now:%Y-%m-%d %H:%M} {offset}",
        written_at=now.isoformat(timespec="seconds"),
        origin=f"prepcheck {__version__}",
        notice=INVENTED if work.invented else "",
        cover=tuple(_blocks(work, errors, settings, pictures_of(work.left, photo, states, system))),
        sections=(),
    )


def _blocks(
    work: PersonWork, errors: Sequence[ToolErrors], settings: ProgressSettings, pictures: Sequence[Picture]
) -> Iterator[Block]:
    least = settings.least_spots
    yield Facts(_spots(work), tuple(_rows(work, least)))
    if work.blocks:
        yield over_time(work.blocks, least, AXES["spots"])
        yield Words(say.change_words(work.blocks, least), tone=Tone.SMALL)
    if pictures:
        yield Strip(tuple(pictures))
    advice = say.advice_for(work)
    if advice:
        yield Facts("What to look for next", tuple(advice))
    yield Words(say.SPOTS_DIFFER, tone=Tone.CAUTION)
    told = (say.RESTS_ON_TOOL, *say.tool_words(errors, work.fitted), say.INTERVALS, CAUTION_LINE, HOT_WORK_LINE)
    yield Words(" ".join((*told, KEPT)), tone=Tone.SMALL)


def _spots(work: PersonWork) -> str:
    if work.days is None:
        return "No spots yet"
    first, last = work.days
    days = f"{first}" if first == last else f"{first} to {last}"
    return f"{len(work.spots)} spot{'s' * (len(work.spots) != 1)} in {work.jobs} job{'s' * (work.jobs != 1)}, {days}"


def _rows(work: PersonWork, least: int) -> Iterator[tuple[str, str]]:
    yield "Bright at the first pass", say.tally_words(work.firsts.tally, least, "spots")
    apart = say.apart_words(work.firsts)
    if apart:
        yield "Counted apart, no misses", apart
    yield "Passes until bright", say.needed_words(work.needed)
    if work.left:
        yield "Left most often", say.usual_words(say.misses_of(work), least)
    if work.beside.pairs:
        yield "Where you disagreed", say.beside_words(work.beside)


def write_sheet(report: Report, out: Path, paper: Paper) -> None:
    """Write the sheet as the name of the file says: .pdf or .html.

    Raises
    ------
    WrongUse
        Another kind of file, or the optional part for PDFs is not installed.
    CannotWrite
        The file cannot be written.
    """
    check_format(out)
    html = out.suffix.lower() == ".html"
    write_whole(out, page_of(report).encode() if html else one_page(report, paper))


def one_page(report: Report, paper: Paper) -> bytes:
    """Return the sheet as a PDF of one page: where it does not fit, the chart is left out, then the pictures."""
    pdf = report_pdf(report, paper)
    for kind in (Chart, Strip):
        if len(_PAGE.findall(pdf)) > 1:
            report = replace(report, cover=tuple(block for block in report.cover if not isinstance(block, kind)))
            pdf = report_pdf(report, paper)
    return pdf


def check_format(out: Path) -> None:
    """Raise `WrongUse` unless a sheet can be written as this file."""
    if out.suffix.lower() not in FORMATS:
        raise WrongUse("is no kind of file for a sheet", f"End the name with {' or '.join(FORMATS)}", out.name)
