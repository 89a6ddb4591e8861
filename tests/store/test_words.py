"""What people type, checked before it reaches the log."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.errors import UnknownRecord, WrongUse
from prepcheck.store import words


def test_text_is_kept_on_one_line_without_doubled_blanks():
    assert words.clean("  left \t seam\nnear the neck ", "x") == "left seam near the neck"


def test_text_is_kept_composed():
    assert words.clean("Zoe\u0308", "x") == "Zo\u00eb"


@pytest.mark.parametrize("text", ["a\x00b", "a\x1b[31mb", "a\u202eb", "a\udcffb"])
def test_unprintable_text_is_refused_and_shown_escaped(text):
    with pytest.raises(WrongUse, match="cannot be printed") as caught:
        words.clean(text, "the title")
    assert caught.value.message.isprintable()


def test_too_long_a_text_is_refused_with_both_lengths():
    with pytest.raises(WrongUse, match="the title has 81 characters, at most 80 fit"):
        words.clean("x" * 81, "the title")


def test_blank_text_is_refused_where_some_is_needed():
    with pytest.raises(WrongUse, match="the title is empty"):
        words.clean(" \n ", "the title")


def test_blank_text_is_kept_empty_where_none_is_needed():
    assert words.clean(" ", "the note", needed=False) == ""


@pytest.mark.parametrize("text", ["J-0012", "j-12", "J12", "12", " 0012 "])
def test_a_job_number_may_be_written_short(text):
    assert words.job_number(text) == "J-0012"


@pytest.mark.parametrize("text", ["", "J-", "-12", "K-0012", "1 2", "J-1e3", "9999999999", "\u0661"])
def test_what_is_no_job_number_is_an_unknown_record(text):
    with pytest.raises(UnknownRecord, match="no such job"):
        words.job_number(text)


def test_digits_are_a_spots_number_and_other_text_its_name():
    assert [words.spot_label("07"), words.spot_label("neck 7")] == [7, "neck 7"]


@pytest.mark.parametrize("text", ["0", "1000", "9" * 50])
def test_a_spots_number_has_a_range(text):
    with pytest.raises(WrongUse, match="from 1 to 999"):
        words.spot_label(text)


def test_a_time_without_zone_never_reaches_the_log():
    with pytest.raises(ValueError, match="time zone"):
        words.stamp(datetime(2026, 11, 24, 10, 12))


@given(st.text(max_size=60))
def test_a_cleaned_text_stays_as_it_is_when_cleaned_again(text):
    try:
        once = words.clean(text, "x", needed=False)
    except WrongUse:
        return
    assert words.clean(once, "x", needed=False) == once
