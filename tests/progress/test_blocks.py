"""First passes over time."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from prepcheck.progress.blocks import Block, by_month, by_spots
from prepcheck.progress.tally import Tally
from tests.progress.made import BRIGHT, LEFT, day, shot, spots, spots_of


def test_blocks_hold_so_many_judged_spots_and_the_last_the_rest() -> None:
    found = by_spots(spots("r", "b", "c", "b", "b", "r"), 2)
    assert found == [Block("1-2", Tally(1, 2)), Block("3-4", Tally(2, 2)), Block("5", Tally(0, 1))]


def test_months_are_those_of_the_first_pass() -> None:
    made = spots_of([shot(1, BRIGHT, 1, at=day(0)), shot(2, LEFT, 2, at=day(20)), shot(3, BRIGHT, 3, at=day(70))])
    assert by_month(made) == [Block("2026-09", Tally(1, 2)), Block("2026-11", Tally(1, 1))]


def test_a_spot_without_a_judged_first_pass_is_in_no_block() -> None:
    made = [*spots("c", "t"), *spots_of([shot(1, BRIGHT, 9, pass_no=2)])]
    assert (by_spots(made, 5), by_month(made)) == ([], [])


@given(st.lists(st.sampled_from("brct"), max_size=60), st.integers(2, 12))
def test_blocks_and_months_count_every_judged_spot_once(told: list[str], size: int) -> None:
    made = spots(*told)
    for blocks in (by_spots(made, size), by_month(made)):
        assert sum(block.tally.of for block in blocks) == told.count("b") + told.count("r")
        assert sum(block.tally.hits for block in blocks) == told.count("b")
