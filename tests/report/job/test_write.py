"""Files of a report are whole or not there, and what needs the optional part says so in one line."""

import builtins
import sys

import pytest

from prepcheck.errors import CannotWrite, WrongUse
from prepcheck.report.job.write import Form, write_report
from tests.report.job import made


def test_pdf_and_page_are_written_unless_asked_otherwise(tmp_path):
    files = write_report(made.empty(), tmp_path / "out")
    assert [path.name for path in files] == ["J-0001-report.pdf", "J-0001-report.html"]
    assert files[0].read_bytes().startswith(b"%PDF-1.7")
    assert files[1].read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_only_what_is_asked_for_is_written(tmp_path):
    files = write_report(made.told(records={}), tmp_path, (Form.CSV, Form.JSON))
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(path.name for path in files)
    assert {path.suffix for path in files} == {".csv", ".json"}


def test_tables_bear_the_mark_that_spreadsheets_know_utf8_by(tmp_path):
    files = write_report(made.told(), tmp_path, (Form.CSV,))
    assert all(path.read_bytes().startswith(b"\xef\xbb\xbf") for path in files)


@pytest.fixture
def without_fpdf(monkeypatch):
    real = builtins.__import__

    def refuse(name, *rest):
        if name.split(".")[0] == "fpdf":
            raise ImportError(name)
        return real(name, *rest)

    for name in ("prepcheck.report.job.pdf", "prepcheck.report.job.sheets"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    monkeypatch.setattr(builtins, "__import__", refuse)


@pytest.mark.usefixtures("without_fpdf")
def test_without_the_optional_part_the_page_is_written_and_one_line_says_what_to_do(tmp_path):
    with pytest.raises(WrongUse, match=r"needs the optional part 'report'.*pip install 'prepcheck\[report\]'"):
        write_report(made.empty(), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["J-0001-report.html"]


@pytest.mark.usefixtures("without_fpdf")
def test_the_page_alone_needs_no_optional_part(tmp_path):
    assert len(write_report(made.empty(), tmp_path, (Form.HTML,))) == 1


def test_a_place_that_is_a_file_is_said_to_be(tmp_path):
    (tmp_path / "taken").write_text("x")
    with pytest.raises(CannotWrite):
        write_report(made.empty(), tmp_path / "taken", (Form.HTML,))
