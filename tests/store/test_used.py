"""A photo that is used twice is flagged, in the log's own flags."""

from __future__ import annotations

import pytest

from prepcheck import tasks
from prepcheck.settings import StoreSettings
from tests.store.records import PLACE, record_for, spot

BITS = StoreSettings().near_duplicate_bits


def codes(log, data: bytes, picture_hash: str = "", taken: str | None = None, **place) -> list[str]:
    record = record_for(data, spot(), picture_hash=picture_hash, taken=taken, flags=())
    logged = tasks.log_inspection(*log, record, data, **{**PLACE, **place})
    return [flag.code for flag in logged.record.flags]


def with_bits(count: int) -> str:
    return f"{(1 << count) - 1:016x}"


def test_the_first_use_raises_no_flag(log):
    assert codes(log, b"photo", with_bits(0)) == []


@pytest.mark.parametrize("place", [{"spot": "2"}, {"pass_no": 2}])
def test_the_same_bytes_for_another_spot_or_pass_are_flagged(log, place):
    codes(log, b"photo")
    assert codes(log, b"photo", **place) == ["used_before"]


def test_the_same_bytes_again_for_the_same_pass_are_not_flagged(log):
    codes(log, b"photo")
    assert codes(log, b"photo", person="Jon") == []


def test_a_correction_may_use_the_photo_of_what_it_corrects(log):
    codes(log, b"photo")
    assert codes(log, b"photo", spot="2", corrects=1) == []


def test_a_picture_within_the_set_distance_is_flagged(log):
    codes(log, b"photo", with_bits(0))
    assert codes(log, b"saved again", with_bits(BITS), pass_no=2) == ["looks_used_before"]


def test_a_picture_one_bit_beyond_the_set_distance_is_not_flagged(log):
    codes(log, b"photo", with_bits(0))
    assert codes(log, b"another", with_bits(BITS + 1), pass_no=2) == []


def test_two_like_pictures_of_one_pass_are_not_flagged(log):
    codes(log, b"photo", with_bits(0))
    assert codes(log, b"next shot", with_bits(1)) == []


def test_the_nearest_picture_is_named(log):
    codes(log, b"far", with_bits(3), spot="8")
    codes(log, b"near", with_bits(1), spot="9")
    record = record_for(b"new", spot(), picture_hash=with_bits(0))
    logged = tasks.log_inspection(*log, record, b"new", **PLACE)
    assert "inspection 2 (J-0001, spot 9, pass 1)" in logged.record.flags[-1].measured


def test_a_photo_without_picture_hash_is_compared_by_its_bytes_only(log):
    codes(log, b"photo")
    assert codes(log, b"another", pass_no=2) == []


NOON, LATER = "2026-05-04T12:00:00+01:00", "2026-05-04T12:40:00+01:00"


def test_like_pictures_taken_at_different_times_are_two_photos(log):
    codes(log, b"photo", with_bits(0), taken=NOON)
    assert codes(log, b"next pass", with_bits(1), taken=LATER, pass_no=2) == []


@pytest.mark.parametrize("taken", [NOON, None])
def test_a_like_picture_of_the_same_time_or_of_none_is_flagged(log, taken):
    codes(log, b"photo", with_bits(0), taken=NOON)
    assert codes(log, b"saved again", with_bits(1), taken=taken, pass_no=2) == ["looks_used_before"]
