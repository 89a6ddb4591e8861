"""Reports that phones ask for: the same question is the same report, and what nobody fetches is forgotten."""

from __future__ import annotations

import threading
from dataclasses import dataclass

import pytest

from prepcheck.errors import StoreFault
from prepcheck.web.errors import Busy
from prepcheck.web.reports import Reports


@dataclass(frozen=True)
class Asked:
    job: str
    system: str = "metric"
    paper: str | None = None


class Seconds:
    def __init__(self):
        self.now = 0.0

    def __call__(self):
        return self.now


class Writer:
    """Writes numbered reports, each when it may."""

    def __init__(self):
        self.may, self.count = threading.Event(), 0

    def __call__(self, asked):
        assert self.may.wait(10)
        self.count += 1
        return f"{asked.job} {self.count}".encode()


@pytest.fixture
def writer():
    return Writer()


@pytest.fixture
def seconds():
    return Seconds()


@pytest.fixture
def reports(writer, seconds):
    reports = Reports(writer, seconds)
    yield reports
    writer.may.set()
    reports.stop()


def test_who_asks_again_waits_for_the_same_report(reports, writer):
    first = reports.ask(Asked("J-1"))
    assert first.wait(0) is None
    assert reports.ask(Asked("J-1")) is first
    writer.may.set()
    assert first.wait(10) == b"J-1 1"


def test_another_paper_is_another_report(reports):
    assert reports.ask(Asked("J-1")) is not reports.ask(Asked("J-1", paper="a4"))


def test_a_report_that_was_handed_over_is_written_anew(reports, writer):
    writer.may.set()
    first = reports.ask(Asked("J-1"))
    assert first.wait(10) == b"J-1 1"
    reports.taken(first)
    assert reports.ask(Asked("J-1")).wait(10) == b"J-1 2"


def test_a_report_that_nobody_fetched_is_not_handed_over_later(reports, writer, seconds):
    writer.may.set()
    assert reports.ask(Asked("J-1")).wait(10) == b"J-1 1"
    reports.ask(Asked("J-2")).wait(10)  # so that the first is noted as ended
    seconds.now = 31.0
    assert reports.ask(Asked("J-1")).wait(10) == b"J-1 3"


def test_how_long_it_takes_is_told(reports, seconds):
    writing = reports.ask(Asked("J-1"))
    seconds.now = 12.0
    assert reports.waited(writing) == 12.0


def test_too_many_reports_are_refused(reports):
    for number in range(8):
        reports.ask(Asked(f"J-{number}"))
    with pytest.raises(Busy):
        reports.ask(Asked("J-9"))


def test_why_a_report_cannot_be_written_is_raised(seconds):
    def fails(asked):
        raise StoreFault("the report was not written", "Try again", asked.job)

    reports = Reports(fails, seconds)
    with pytest.raises(StoreFault, match="J-1: the report was not written"):
        reports.ask(Asked("J-1")).wait(10)
    reports.stop()
