"""What is kept about a person, and for how long."""

from __future__ import annotations

from datetime import date

import pytest

from prepcheck.progress.kept import Item, Kept, Kind, months_after
from tests.progress.made import day


@pytest.mark.parametrize(
    ("start", "months", "end"),
    [
        (date(2026, 9, 1), 36, date(2029, 9, 1)),
        (date(2026, 1, 31), 1, date(2026, 2, 28)),
        (date(2027, 11, 30), 3, date(2028, 2, 29)),
        (date(2026, 12, 5), 1, date(2027, 1, 5)),
        (date(9999, 6, 1), 12, date.max),
    ],
)
def test_months_later_is_the_same_day_or_the_last_of_a_short_month(start: date, months: int, end: date) -> None:
    assert months_after(start, months) == end


def test_the_time_to_look_again_counts_from_the_newest_of_all_kinds() -> None:
    kinds = (Kind("photos logged", (Item(1, day(0)), Item(2, day(9)))), Kind("entries", (Item(5, day(3)),)))
    kept = Kept(1, "Mika", "", kinds)
    assert (kept.last, kept.look_again(1)) == (date(2026, 9, 10), date(2026, 10, 10))


def test_a_name_alone_has_no_time_to_look_again() -> None:
    assert Kept(1, "Mika", "", ()).look_again(36) is None
