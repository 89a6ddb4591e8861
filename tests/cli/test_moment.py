"""Times and days as people type them."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from prepcheck.cli.moment import moment, now
from prepcheck.errors import WrongUse
from prepcheck.trade.typed import day

HERE = timezone(timedelta(hours=1))
AT = datetime(2026, 11, 24, 15, 0, tzinfo=HERE)


@pytest.fixture(autouse=True)
def local_time(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A shop one hour east of Greenwich."""
    monkeypatch.setenv("TZ", "UTC-1")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def test_no_time_is_the_time_of_the_entry():
    assert moment(None, AT, "the time") is AT


@pytest.mark.parametrize(
    "text", ["13:40", " 13:40 ", "2026-11-24 13:40", "2026-11-24T13:40:00+01:00", "2026-11-24T12:40:00Z"]
)
def test_a_time_may_be_written_short_or_long(text):
    assert moment(text, AT, "the time") == datetime(2026, 11, 24, 12, 40, tzinfo=UTC)


@pytest.mark.parametrize(
    "text", ["", "25:00", "13.40", "noon", "2026-02-30 12:00", "9" * 100, "0001-01-01 00:00+23:00x"]
)
def test_what_is_no_time_is_told(text):
    with pytest.raises(WrongUse, match="the start is no time"):
        moment(text, AT, "the start")


def test_a_day_is_read():
    assert (day("2026-11-24", "the day"), day(None, "the day")) == (date(2026, 11, 24), None)


@pytest.mark.parametrize("text", ["", "24.11.2026", "2026-13-01", "tomorrow"])
def test_what_is_no_day_is_told(text):
    with pytest.raises(WrongUse, match="the due day is no day"):
        day(text, "the due day")


def test_now_has_an_offset_and_whole_seconds():
    assert (now().utcoffset(), now().microsecond) == (timedelta(hours=1), 0)
