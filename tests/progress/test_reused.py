"""Photos logged twice, looking alike, or older than their entry."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.progress.reused import LoggedPhoto, Question, Why, age_of, questions
from tests.progress.made import day

OLDEST, SLACK = timedelta(hours=24), timedelta(minutes=2)


def photo(inspection: int, sha256: str = "", spot: int = 0, **more: Any) -> LoggedPhoto:
    """Make a photo of its own bytes, on a spot of its own, unless told otherwise."""
    told: dict[str, Any] = {"job": "J-0001", "pass_no": 1, "person": "Mika", "at": day(inspection), "name": "a.jpg"}
    told |= {"picture_hash": "", "taken": None, **more}
    return LoggedPhoto(inspection=inspection, spot=spot or inspection, sha256=sha256 or f"{inspection:064x}", **told)


def ask(*photos: LoggedPhoto, near_bits: int = 4) -> list[Question]:
    return list(questions(photos, near_bits, OLDEST, SLACK))


def asked(*photos: LoggedPhoto, near_bits: int = 4) -> list[tuple[Why, int, int | None]]:
    found = ask(*photos, near_bits=near_bits)
    return [(one.why, one.photo.inspection, one.earlier.inspection if one.earlier else None) for one in found]


def test_the_same_bytes_on_another_spot_are_asked_about_with_both_places() -> None:
    assert asked(photo(1, "a"), photo(2, "a")) == [(Why.SAME, 2, 1)]


def test_the_same_bytes_of_another_person_in_another_job_are_asked_about() -> None:
    (found,) = ask(photo(1, "a"), photo(2, "a", person="Rune", job="J-0002"))
    assert found.people == {"Mika", "Rune"}


def test_a_photo_may_be_logged_again_for_the_same_pass() -> None:
    assert asked(photo(1, "a", spot=3), photo(2, "a", spot=3)) == []


def test_the_same_bytes_for_a_later_pass_are_asked_about() -> None:
    assert asked(photo(1, "a", spot=3), photo(2, "a", spot=3, pass_no=2)) == [(Why.SAME, 2, 1)]


def test_a_correction_shows_the_photo_that_it_corrects() -> None:
    chain = photo(3, "a", roots=frozenset({1, 2}))
    assert asked(photo(1, "a"), photo(2, "a", roots=frozenset({1})), chain) == []


def test_one_photo_may_show_several_spots_of_a_pass() -> None:
    assert asked(photo(1, "a", outline=1), photo(2, "a", outline=2)) == []


@pytest.mark.parametrize("more", [{"outline": 1}, {"outline": 2, "job": "J-0002"}, {"outline": 2, "pass_no": 2}, {}])
def test_one_outline_or_another_job_or_pass_is_asked_about(more: dict[str, Any]) -> None:
    assert asked(photo(1, "a", outline=1), photo(2, "a", **more)) == [(Why.SAME, 2, 1)]


def test_every_further_copy_names_the_first_place() -> None:
    assert asked(*(photo(n, "a") for n in (1, 2, 3))) == [(Why.SAME, 2, 1), (Why.SAME, 3, 1)]


def test_pictures_within_so_many_bits_look_alike() -> None:
    near, far = "000000000000000f", "000000000000001f"
    assert asked(photo(1, picture_hash="0" * 16), photo(2, picture_hash=near)) == [(Why.ALIKE, 2, 1)]
    assert asked(photo(1, picture_hash="0" * 16), photo(2, picture_hash=far)) == []


def test_how_many_bits_differ_is_told() -> None:
    (found,) = ask(photo(1, picture_hash="f" * 16), photo(2, picture_hash="f" * 15 + "c"))
    assert found.measured == "2 of 64 bits differ"


def test_the_most_alike_is_named() -> None:
    known = [photo(1, picture_hash="0" * 15 + "7"), photo(2, picture_hash="f" * 15 + "1")]
    assert asked(*known, photo(3, picture_hash="0" * 15 + "1")) == [(Why.ALIKE, 3, 1)]


def test_the_same_bytes_are_not_asked_about_as_alike_too() -> None:
    assert asked(photo(1, "a", picture_hash="0" * 16), photo(2, "a", picture_hash="0" * 16)) == [(Why.SAME, 2, 1)]


def test_photos_that_name_different_times_were_taken_twice() -> None:
    one, two = (photo(n, picture_hash="0" * 16, taken=day(n).isoformat()) for n in (1, 2))
    assert asked(one, two) == []


def test_a_copy_that_lost_its_time_may_be_a_copy() -> None:
    one = photo(1, picture_hash="0" * 16, taken=day(1).isoformat())
    assert asked(one, photo(2, picture_hash="0" * 16)) == [(Why.ALIKE, 2, 1)]


HASHES = st.lists(st.sets(st.integers(0, 63), max_size=3), max_size=12)


@given(HASHES, st.integers(0, 8))
def test_pieces_find_what_comparing_all_with_all_finds(flips: list[set[int]], bits: int) -> None:
    values = [sum(1 << bit for bit in one) for one in flips]
    photos = [photo(n, picture_hash=f"{value:016x}") for n, value in enumerate(values, start=1)]
    slow = {
        n + 1 for n, value in enumerate(values) if any((value ^ old).bit_count() <= bits for old in values[:n])
    }  # fmt: skip
    assert {one.photo.inspection for one in ask(*photos, near_bits=bits)} == slow


@pytest.mark.parametrize(
    ("taken", "hours"),
    [
        ("2026-09-02T08:00:00+00:00", 1),
        ("2026-09-02T08:00:00", 1),
        ("2026-09-02T10:00:00+02:00", 1),
        ("2026-09-02T10:00:00+00:00", -1),
    ],
)
def test_the_age_of_a_photo_is_told_in_the_offset_of_its_entry(taken: str, hours: float) -> None:
    assert age_of(photo(1, taken=taken)) == timedelta(hours=hours)


@pytest.mark.parametrize("taken", [None, "", "0000:00:00 00:00:00", "yesterday"])
def test_a_time_that_cannot_be_read_tells_no_age(taken: str | None) -> None:
    assert age_of(photo(1, taken=taken)) is None
    assert asked(photo(1, taken=taken)) == []


@pytest.mark.parametrize(
    ("before", "why", "said"),
    [
        (timedelta(hours=24, seconds=1), Why.OLD, "24 h before"),
        (timedelta(days=183), Why.OLD, "183 days before"),
        (timedelta(minutes=-3), Why.LATER, "3 min after"),
    ],
)
def test_a_photo_much_older_or_newer_than_its_entry_is_asked_about(before: timedelta, why: Why, said: str) -> None:
    (found,) = ask(photo(1, taken=(day(1) - before).isoformat()))
    assert (found.why, found.measured, found.earlier) == (why, said, None)


@pytest.mark.parametrize("before", [timedelta(hours=24), timedelta(0), timedelta(minutes=-2)])
def test_a_photo_of_about_the_time_of_its_entry_is_not(before: timedelta) -> None:
    assert ask(photo(1, taken=(day(1) - before).isoformat())) == []


def test_photos_are_asked_about_in_the_order_in_which_they_were_logged() -> None:
    assert asked(photo(2, "a"), photo(1, "a")) == [(Why.SAME, 2, 1)]


def test_a_camera_clock_at_the_end_of_time_breaks_nothing() -> None:
    late = photo(1, taken="9999-12-31T23:59:59-12:00")
    assert isinstance(late.at, datetime)
    assert [one.why for one in ask(late)] == [Why.LATER]
