"""Counting around a time says what reading every inspection says, whatever the offsets of their times."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from prepcheck import tasks
from prepcheck.store.around import Around, all_around, doubted_around
from tests.store.records import AT, PLACE, new_log, record_for, spot

HOURS = (-60, -30, -25, -24, -14, -2, 0, 2, 14, 24, 25, 30, 60)
OFFSETS = (-12, 0, 14)


@pytest.fixture(scope="module")
def logged(tmp_path_factory):
    """A log with inspections around `AT`, in places far apart; with every third one somebody disagreed."""
    log = new_log(tmp_path_factory.mktemp("log"))
    made = [(hour, offset) for hour in HOURS for offset in OFFSETS]
    for number, (hour, offset) in enumerate(made):
        at = (AT + timedelta(hours=hour)).astimezone(timezone(timedelta(hours=offset)))
        data = b"photo %d" % number
        found = tasks.log_inspection(*log, record_for(data, spot()), data, **{**PLACE, "at": at})
        if number % 3 == 0:
            for person in ("Ola", "Rune"):
                tasks.disagree(
                    log[0],
                    found.inspection,
                    standing="bright",
                    reason="wiped",
                    person=person,
                    at=AT + timedelta(days=9),
                )
    return log[0]


@pytest.mark.parametrize("hours", [-61, -24, -2, 0, 1, 24, 61])
@pytest.mark.parametrize("offset", [-11, 0, 13])
def test_all_are_counted_by_their_true_time(logged, hours, offset):
    asked = (AT + timedelta(hours=hours)).astimezone(timezone(timedelta(hours=offset)))
    before = len(OFFSETS) * sum(hour < hours for hour in HOURS)
    assert all_around(logged, asked) == Around(before, len(OFFSETS) * len(HOURS) - before)


def test_those_that_somebody_disagreed_with_are_counted_once(logged):
    before = sum(hour < 0 for hour in HOURS)
    assert doubted_around(logged, AT) == Around(before, len(HOURS) - before)


def test_an_empty_log_has_none(log):
    assert all_around(log[0], datetime(2026, 1, 1, tzinfo=UTC)) == Around(0, 0)
    assert doubted_around(log[0], AT) == Around(0, 0)
