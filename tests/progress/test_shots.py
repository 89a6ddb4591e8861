"""Which of what was logged counts, and for whom."""

from __future__ import annotations

from prepcheck.progress.shots import credited, spots_of
from tests.progress.made import BRIGHT, LEFT, RETAKE, UNSURE, day, shot, spots


def test_a_correction_counts_instead_of_what_it_corrects() -> None:
    kept = credited([shot(1, LEFT), shot(2, BRIGHT, corrects=1)])
    assert [(one.number, one.standing) for one in kept] == [(2, BRIGHT)]


def test_a_chain_of_corrections_leaves_the_last() -> None:
    assert [one.number for one in credited([shot(1), shot(2, corrects=1), shot(3, corrects=2)])] == [3]


def test_who_corrects_a_slip_of_somebody_else_did_not_grind_that_spot() -> None:
    (kept,) = credited([shot(1, LEFT, spot=2), shot(2, LEFT, spot=3, person="Rune", corrects=1)])
    assert (kept.person, kept.spot) == ("Mika", 3)


def test_a_chain_of_corrections_belongs_to_who_logged_its_first() -> None:
    chain = [shot(1), shot(2, person="Rune", corrects=1), shot(3, person="Ola", corrects=2)]
    assert [one.person for one in credited(chain)] == ["Mika"]


def test_a_correction_of_what_is_not_at_hand_is_of_its_own_person() -> None:
    assert [one.person for one in credited([shot(5, person="Rune", corrects=1)])] == ["Rune"]


def test_of_a_pass_the_newest_photo_counts() -> None:
    (spot,) = spots_of([shot(1, LEFT), shot(2, BRIGHT)])
    assert [one.number for one in spot.passes] == [2]


def test_a_photo_to_retake_counts_only_where_the_pass_has_no_other() -> None:
    (fit,) = spots_of([shot(1, LEFT), shot(2, RETAKE)])
    (unfit,) = spots_of([shot(1, RETAKE), shot(2, RETAKE)])
    assert (fit.passes[0].number, unfit.passes[0].number) == (1, 2)


def test_a_second_look_by_somebody_else_leaves_the_pass_with_who_logged_it_first() -> None:
    (spot,) = spots_of([shot(1, LEFT), shot(2, BRIGHT, person="Rune")])
    assert [(one.standing, one.person) for one in spot.passes] == [(BRIGHT, "Mika")]


def test_passes_stand_in_order_however_they_were_logged() -> None:
    (spot,) = spots_of([shot(1, pass_no=2), shot(2, pass_no=1)])
    assert [one.pass_no for one in spot.passes] == [1, 2]


def test_the_same_number_in_two_jobs_is_two_spots() -> None:
    assert [one.job for one in spots_of([shot(1, job="J-0002"), shot(2)])] == ["J-0002", "J-0001"]


def test_spots_stand_in_the_order_in_which_they_were_begun() -> None:
    found = spots_of([shot(1, spot=1, at=day(5)), shot(2, spot=2, at=day(3))])
    assert [one.spot for one in found] == [2, 1]


def test_a_first_pass_that_was_not_logged_is_no_first_pass() -> None:
    (spot,) = spots_of([shot(1, pass_no=2)])
    assert spot.first is None


def test_a_spot_is_bright_at_the_first_pass_that_shows_it() -> None:
    assert [spot.bright_at for spot in spots("b", "rb", "rcbr", "rr", "c")] == [1, 2, 3, None, None]


def test_what_cannot_be_told_is_kept_as_it_is() -> None:
    (spot,) = spots_of([shot(1, UNSURE)])
    assert spot.first is not None
    assert spot.first.standing is UNSURE


def test_a_job_says_that_it_is_invented() -> None:
    assert (shot(1, title="Seam (Invented demo)").invented, shot(1).invented) == (True, False)


def test_what_no_one_corrects_is_kept_as_it_is() -> None:
    made = shot(1, LEFT)
    assert credited([made])[0] is made
    assert spots_of([made])[0].passes[0] is made
