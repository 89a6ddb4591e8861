"""The contact sheet of a batch: all photos, worst first, page by page."""

from __future__ import annotations

import re
from contextlib import closing

import pytest

from prepcheck.batch import sheets
from prepcheck.batch.ledger import FILE, Ledger, Placed
from prepcheck.batch.sources import Item
from prepcheck.batch.work import Done
from tests.store.records import record_for, spot


@pytest.fixture
def ledger(tmp_path, monkeypatch):
    """Seven photos, two on a page, the higher its number the better the score."""
    monkeypatch.setattr(sheets, "PER_PAGE", 2)
    with closing(Ledger(tmp_path / FILE)) as made:
        for number in range(7):
            add(made, number)
        yield made


def add(ledger, number):
    name = f"{number}.jpg"
    line = record_for(b"x", spot()).model_copy(update={"score": 10.0 * number}).model_dump_json()
    ledger.add(Item(name, stamp="1"), "today", Done(1, name, f"{number:064}", line))


def write(ledger, folder):
    return [path.name for path in sheets.write_sheets(ledger, folder, "Photos", "prepcheck")]


def test_there_are_as_many_pages_as_it_takes_and_one_picture(ledger, tmp_path):
    assert write(ledger, tmp_path) == ["sheet.html", "sheet.png", "sheet-2.html", "sheet-3.html", "sheet-4.html"]


def test_photos_go_on_from_page_to_page_worst_first(ledger, tmp_path):
    pages = [tmp_path / name for name in write(ledger, tmp_path) if name.endswith(".html")]
    names = [name for page in pages for name in re.findall("<h2>(.*?)</h2>", page.read_text())]
    assert names == [f"{number}.jpg" for number in range(7)]


def test_pages_that_are_no_more_are_taken_away_and_nothing_else(ledger, tmp_path):
    for name in ("sheet-5.html", "sheet-mine.html"):
        (tmp_path / name).write_text("x")
    write(ledger, tmp_path)
    assert [(tmp_path / name).exists() for name in ("sheet-5.html", "sheet-mine.html")] == [False, True]


def test_a_place_in_the_log_stands_below_the_photo_or_why_there_is_none(ledger, tmp_path):
    first, second = (next(ledger.row(name)) for name in ("0.jpg", "1.jpg"))
    ledger.place(first, Placed("J-0001", "3", 2, "Ola", 5))
    ledger.place(second, Placed("J-0001", "3", None, "Ola", fault="no pass"))
    write(ledger, tmp_path)
    page = (tmp_path / "sheet.html").read_text()
    assert "<p>J-0001, spot 3, pass 2, Ola</p>" in page
    assert "<p>Not logged: no pass</p>" in page
