"""First passes and passes needed, counted."""

from __future__ import annotations

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from prepcheck.agreement.proportion import proportion
from prepcheck.progress.shots import Opinion
from prepcheck.progress.tally import Tally
from prepcheck.progress.work import beside_tool, firsts, own_spots, passes_needed
from tests.progress.made import BRIGHT, LEFT, UNSURE, shot, spots, spots_of

LIVES = st.lists(st.text("brct", min_size=1, max_size=4), max_size=30)


def test_first_passes_are_counted_by_how_they_stood() -> None:
    told = firsts(spots("b", "rb", "rb", "cb", "tb"))
    assert (told.bright, told.residue_left, told.cannot_tell, told.retake, told.unlogged) == (1, 2, 1, 1, 0)


def test_what_could_not_be_judged_is_no_miss() -> None:
    assert firsts(spots("b", "c", "t")).tally == Tally(1, 1)


def test_a_spot_without_its_first_pass_is_counted_apart() -> None:
    told = firsts(spots_of([shot(1, BRIGHT, pass_no=2)]))
    assert (told.unlogged, told.tally) == (1, Tally(0, 0))


@given(LIVES)
def test_another_bright_first_pass_never_lowers_the_share_nor_its_interval(lives: list[str]) -> None:
    before, after = (firsts(spots(*told)).tally for told in (lives, [*lives, "b"]))
    low, lower = proportion(after.hits, after.of), proportion(before.hits, before.of)
    assert after.hits * max(before.of, 1) >= before.hits * after.of
    assert (low.low, low.high) >= (lower.low, lower.high)


@given(LIVES)
def test_another_spot_with_residue_left_never_raises_the_share(lives: list[str]) -> None:
    before, after = (firsts(spots(*told)).tally for told in (lives, [*lives, "r"]))
    assert after.hits * before.of <= before.hits * after.of


@given(LIVES)
def test_every_spot_is_counted_once(lives: list[str]) -> None:
    made = spots(*lives)
    told, needed = firsts(made), passes_needed(made)
    counted = told.bright + told.residue_left + told.cannot_tell + told.retake + told.unlogged
    assert counted == len(lives) == sum(needed.bright.values()) + sum(needed.open.values()) + needed.shared


@given(LIVES)
def test_passes_needed_agree_with_the_place_of_the_first_b(lives: list[str]) -> None:
    places = [life.index("b") + 1 for life in lives if "b" in life]
    assert passes_needed(spots(*lives)).bright == {n: places.count(n) for n in sorted(set(places))}


def test_spots_that_are_not_bright_yet_are_counted_apart_by_their_last_pass() -> None:
    told = passes_needed(spots("b", "rb", "rrb", "r", "rc", "rr"))
    assert (told.bright, told.open) == ({1: 1, 2: 1, 3: 1}, {1: 1, 2: 2})


def test_a_spot_that_two_people_ground_is_nobodys_own_count() -> None:
    told = passes_needed(spots_of([shot(1, LEFT), shot(2, BRIGHT, pass_no=2, person="Rune")]))
    assert (told.shared, told.bright) == (1, {})


def test_a_look_of_somebody_else_after_the_spot_was_bright_changes_nothing() -> None:
    told = passes_needed(spots_of([shot(1, BRIGHT), shot(2, BRIGHT, pass_no=2, person="Rune")]))
    assert (told.shared, told.bright) == (0, {1: 1})


def test_passes_of_a_spot_whose_first_was_not_logged_are_not_counted() -> None:
    told = passes_needed(spots_of([shot(1, BRIGHT, pass_no=2)]))
    assert (told.shared, told.bright, told.open) == (0, {}, {})


def test_a_spot_is_that_of_who_logged_its_first_pass() -> None:
    made = spots_of([shot(1, LEFT), shot(2, BRIGHT, pass_no=2, person="Rune"), shot(3, spot=2, person="Rune")])
    assert [[one.spot for one in own_spots(made, name)] for name in ("Mika", "Rune", "Ola")] == [[1], [2], []]


def test_days_from_and_until_are_both_included() -> None:
    found = own_spots(spots("b", "b", "b", "b"), "Mika", date(2026, 9, 3), date(2026, 9, 4))
    assert [one.spot for one in found] == [2, 3]


def test_the_newest_own_standing_of_an_inspection_stands_beside_the_tools() -> None:
    said = [Opinion(1, UNSURE, ""), Opinion(1, BRIGHT, ""), Opinion(2, BRIGHT, ""), Opinion(9, LEFT, "")]
    told = beside_tool([shot(1, LEFT), shot(2, LEFT)], said)
    assert told.pairs == {(LEFT, BRIGHT): 2}
