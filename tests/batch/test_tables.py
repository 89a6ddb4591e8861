"""The tables: every spreadsheet and program reads them, and no cell does harm."""

from __future__ import annotations

import csv
import sys
from contextlib import closing

import pytest

from prepcheck.batch.ledger import FILE, Ledger, Placed, Row
from prepcheck.batch.sources import Item
from prepcheck.batch.tables import COLUMNS, cells, disarmed, need_parquet, write_tables
from prepcheck.batch.work import Done
from prepcheck.errors import MissingDecoder
from prepcheck.record import LINE, broken_record
from prepcheck.terms import Standing
from tests.store.records import record_for, spot

SHA = "a" * 64


def row(name="a.jpg", placed=None, **changes):
    record = record_for(b"photo", spot(), taken="2026-03-01T10:00:00").model_copy(update=changes)
    return Row(name, SHA, "today", record.model_dump_json(), placed=placed)


def broken(name="b.jpg"):
    return Row(name, SHA, "today", broken_record(name, "not_a_photo", "b.jpg: is none").model_dump_json())


@pytest.fixture
def ledger(tmp_path):
    """Holds an answer, an error, and a name that a spreadsheet would take for a formula."""
    with closing(Ledger(tmp_path / FILE)) as made:
        for one, error in ((row("z.jpg"), ""), (row("=cmd.jpg"), ""), (broken(), "not_a_photo")):
            made.add(Item(one.name, stamp="1"), "today", Done(1, one.name, SHA, one.line, error))
        yield made


def test_every_row_has_all_columns():
    assert [list(cells(one)) for one in (row(), broken())] == [list(COLUMNS)] * 2


def test_cells_are_of_the_kind_that_their_column_says():
    placed = Placed("J-0001", "1", 2, "Ola", 7, "fault")
    found = cells(row(placed=placed))
    assert [name for name, cell in found.items() if cell is not None and not isinstance(cell, COLUMNS[name])] == []


def test_the_score_stands_with_its_interval():
    found = cells(row())
    assert (found["score"], found["score_low"], found["score_high"]) == (82.0, 74.0, 89.0)


def test_a_photo_to_retake_has_no_score():
    found = cells(row(standing=Standing.RETAKE))
    assert (found["standing"], found["score"], found["score_low"]) == ("retake", None, None)


def test_an_error_has_its_message_and_no_standing():
    found = cells(broken())
    assert (found["error"], found["standing"], found["sha256"]) == ("b.jpg: is none", None, SHA)


def test_a_place_in_the_log_is_told():
    found = cells(row(placed=Placed("J-0001", "4", 2, "Ola", 7)))
    assert [found[name] for name in ("job", "spot", "pass_no", "person", "inspection", "not_logged")] == [
        "J-0001", "4", 2, "Ola", 7, None,
    ]  # fmt: skip


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@sum", "\t=1", "\r=1"])
def test_a_text_that_looks_like_a_formula_is_disarmed(text):
    assert disarmed(text) == f"'{text}"


@pytest.mark.parametrize("cell", [-1.5, 3, None, "a=b", ""])
def test_other_cells_stay_as_they_are(cell):
    assert disarmed(cell) is cell


def test_a_spreadsheet_reads_the_table(ledger, tmp_path):
    write_tables(ledger, tmp_path, parquet=False)
    assert (tmp_path / "photos.csv").read_bytes().startswith(b"\xef\xbb\xbf")
    with (tmp_path / "photos.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [line["file"] for line in csv.DictReader(file)] == ["'=cmd.jpg", "b.jpg", "z.jpg"]


def test_lines_are_those_of_the_contract(ledger, tmp_path):
    write_tables(ledger, tmp_path, parquet=False)
    lines = (tmp_path / "photos.jsonl").read_text(encoding="utf-8").splitlines()
    assert [LINE.validate_json(line).model_dump_json() for line in lines] == lines
    assert len(lines) == 3


def test_parquet_has_what_csv_has(ledger, tmp_path):
    pq = pytest.importorskip("pyarrow.parquet")
    write_tables(ledger, tmp_path, parquet=True)
    assert pq.read_table(tmp_path / "photos.parquet").to_pylist() == [cells(one) for one in ledger.rows()]


def test_without_its_optional_part_parquet_is_refused_with_words(monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(MissingDecoder, match=r"prepcheck\[tables\]"):
        need_parquet()


def test_columns_do_not_hang_on_the_rows(tmp_path):
    with closing(Ledger(tmp_path / FILE)) as empty:
        write_tables(empty, tmp_path, parquet=False)
    assert (tmp_path / "photos.csv").read_text(encoding="utf-8-sig").strip().split(",") == list(COLUMNS)
