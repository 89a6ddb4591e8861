"""Counts of spots."""

from __future__ import annotations

import pytest

from prepcheck.progress.tally import Tally, shares_of


@pytest.mark.parametrize(("hits", "of"), [(-1, 3), (4, 3), (1, 0)])
def test_counts_that_cannot_be_are_refused(hits: int, of: int) -> None:
    with pytest.raises(ValueError, match="is no tally"):
        Tally(hits, of)


def test_each_kind_is_counted_out_of_all_the_most_frequent_first() -> None:
    assert list(shares_of("rbrcrb").items()) == [("r", Tally(3, 6)), ("b", Tally(2, 6)), ("c", Tally(1, 6))]


def test_kinds_of_equal_count_stand_in_the_order_of_first_sight() -> None:
    assert list(shares_of("ba")) == ["b", "a"]


def test_nothing_has_no_kinds() -> None:
    assert shares_of([]) == {}
