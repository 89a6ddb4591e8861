from __future__ import annotations

from datetime import timedelta

import pytest

from prepcheck.errors import WrongUse
from prepcheck.web.pages.forms import moment, needed, number, whole
from tests.web.shop import NOON


@pytest.mark.parametrize(("text", "value"), [("20.9", 20.9), ("20,9", 20.9), ("-1", -1.0), ("1e2", 100.0)])
def test_numbers_are_read_with_point_or_comma(text, value):
    assert number({"x": text}, "x", "it") == value


@pytest.mark.parametrize("text", ["much", "1 2", "0x10", "1.2.3"])
def test_what_is_no_number_is_refused(text):
    with pytest.raises(WrongUse, match="it is no number"):
        number({"x": text}, "x", "it")


@pytest.mark.parametrize("text", ["1.5", "inf", "nan"])
def test_what_is_no_whole_number_is_refused(text):
    with pytest.raises(WrongUse, match="no whole number"):
        whole({"x": text}, "x", "it")


def test_what_was_not_typed_is_not_known():
    assert number({}, "x", "it") is None
    assert whole({}, "x", "it") is None
    with pytest.raises(WrongUse, match="it is missing"):
        needed({}, "x", "it")


@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("", NOON),
        ("9:05", NOON.replace(hour=9, minute=5)),
        ("13:40", NOON.replace(hour=13, minute=40)),
        ("2026-11-24 13:40", NOON.replace(day=24, hour=13, minute=40)),
        ("2026-11-28T11:00+00:00", NOON),
    ],
)
def test_times_are_read_as_people_type_them(text, time):
    assert moment({"x": text}, "x", NOON, "it") == time


def test_a_time_without_offset_is_of_this_computers_zone():
    assert moment({"x": "2026-11-24 13:40"}, "x", NOON, "it").utcoffset() == timedelta(hours=1)


@pytest.mark.parametrize("text", ["soon", "25:00", "9", "2026-13-01"])
def test_what_is_no_time_is_refused(text):
    with pytest.raises(WrongUse, match="it is no time"):
        moment({"x": text}, "x", NOON, "it")
