"""The contact sheet of a batch, written from its ledger, worst first."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from prepcheck.batch.ledger import Ledger, Row
from prepcheck.errors import printable
from prepcheck.report.contact import NOT_READ, Sheet, Shown, contact_page, page_name, shown
from prepcheck.report.contact_picture import contact_picture
from prepcheck.report.files import write_whole
from prepcheck.report.picture import write_picture

PER_PAGE = 200
"""Photos of a page: some 3 MB, which a phone still scrolls."""
PICTURE = "sheet.png"


def write_sheets(ledger: Ledger, folder: Path, title: str, origin: str) -> list[Path]:
    """Write the pages and the picture of the worst photos, take away pages that are no more, and return the files."""
    counts = {(NOT_READ if word == "error" else word): count for word, count in ledger.counts().items()}
    pages = max(1, -(-sum(counts.values()) // PER_PAGE))
    photos = _photos(ledger)
    written = []
    for number in range(1, pages + 1):
        sheet = Sheet(title, counts, number, pages, (number - 1) * PER_PAGE + 1, origin)
        some = list(islice(photos, PER_PAGE))
        written.append(folder / page_name(number))
        write_whole(written[-1], contact_page(sheet, some).encode())
        if number == 1 and some:
            write_picture(folder / PICTURE, contact_picture(sheet, some))
            written.append(folder / PICTURE)
    _take_away(folder, pages)
    return written


def _photos(ledger: Ledger) -> Iterator[Shown]:
    for row, small in ledger.worst_first():
        yield shown(printable(row.name), row.record, small, *_place_words(row))


def _place_words(row: Row) -> tuple[str, ...]:
    place = row.placed
    if place is None:
        return ()
    if place.fault:
        return (f"Not logged: {place.fault}",)
    return (f"{place.job}, spot {place.spot}, pass {place.pass_no}, {place.person}",)


def _take_away(folder: Path, pages: int) -> None:
    for path in folder.glob("sheet-*.html"):
        found = re.fullmatch(r"sheet-(\d+)\.html", path.name)
        if found and int(found[1]) > pages:
            path.unlink()
