from __future__ import annotations

import time
from concurrent.futures.process import BrokenProcessPool

import pytest

from prepcheck.errors import StoreFull
from tests.web.pages.reading import read


def test_the_report_is_offered_in_both_units_and_papers(phone, inspected):
    links = [one["href"] for one in read(phone.get("/jobs/J-0001/report")).all("a")]
    assert {f"/jobs/J-0001/report.html?units={units}" for units in ("metric", "us")} <= set(links)
    assert "/jobs/J-0001/report.pdf?units=us&paper=letter" in links


def test_the_page_needs_nothing_else_and_can_run_nothing(phone, inspected):
    answer = phone.get("/jobs/J-0001/report.html")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src" not in policy
    assert "sandbox" in policy
    assert not read(answer).all("script")


def test_the_pdf_is_one(phone, inspected):
    answer = phone.get("/jobs/J-0001/report.pdf?paper=letter")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    assert 'filename="J-0001-report.pdf"' in answer.headers["content-disposition"]


@pytest.mark.parametrize("query", ["units=cubits", "paper=wall"])
def test_units_and_papers_that_are_none_are_refused(phone, query):
    assert phone.get(f"/jobs/J-0001/report.pdf?{query}").status_code == 422


PDF = "/jobs/J-0001/report.pdf"


def slow(asked):
    """A report that is not there in time."""
    time.sleep(0.3)
    return b"%PDF-"


@pytest.fixture
def impatient(app, monkeypatch):
    monkeypatch.setattr("prepcheck.web.looker.write_report", slow)
    monkeypatch.setattr("prepcheck.web.pages.report.HELD_S", 0.01)


def test_a_report_that_takes_long_says_so_and_is_there_when_asked_again(phone, impatient):
    page = read(phone.get(PDF, headers={"Accept": "text/html"}), 202)
    assert "It is being written, for 0 s by now." in page.words
    time.sleep(0.5)
    assert phone.get(PDF).content == b"%PDF-"


def test_other_pages_open_while_a_report_is_written(phone, impatient):
    phone.get(PDF)
    assert phone.get("/jobs/J-0001").status_code == 200


def test_what_keeps_a_report_from_being_written_is_told(phone, inspected, monkeypatch):
    def full(*_):
        raise StoreFull("no room left", "Free some room", "disk")

    monkeypatch.setattr("prepcheck.report.job.write.report_pdf", full)
    page = read(phone.get(PDF, headers={"Accept": "text/html"}), 503)
    assert "J-0001: the report was not written. disk: no room left. Free some room." in page.words


def test_a_writer_that_dies_is_told_and_the_next_one_writes(phone, monkeypatch):
    def dies(*_):
        raise BrokenProcessPool

    monkeypatch.setattr("prepcheck.web.looker.write_report", dies)
    assert "its process ended" in phone.get(PDF).json()["error"]["message"]
    monkeypatch.setattr("prepcheck.web.looker.write_report", lambda asked: b"%PDF-")
    assert phone.get(PDF).status_code == 200
