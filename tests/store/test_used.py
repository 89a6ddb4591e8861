"""A photo that is used twice is flagged, in the log's own flags."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

from prepcheck import tasks
from prepcheck.settings import Settings, StoreSettings
from prepcheck.store import NewJob
from prepcheck.store.tables import BANDS, band, photos
from tests.store.records import AT, PLACE, record_for, spot

BITS = StoreSettings().near_duplicate_bits


def codes(log, data: bytes, picture_hash: str = "", taken: str | None = None, **place) -> list[str]:
    record = record_for(data, spot(), picture_hash=picture_hash, taken=taken, flags=())
    logged = tasks.log_inspection(*log, record, data, **{**PLACE, **place})
    return [flag.code for flag in logged.record.flags]


def with_bits(count: int) -> str:
    return f"{(1 << count) - 1:016x}"


@given(st.integers(0, 2**64 - 1), st.sets(st.integers(0, 63), max_size=len(BANDS) - 1))
def test_two_hashes_that_differ_in_fewer_bits_than_there_are_bands_share_one(picture, bits):
    other = picture
    for bit in bits:
        other ^= 1 << bit
    one, two = f"{picture:016x}", f"{other:016x}"
    assert any(one[first - 1 : first - 1 + length] == two[first - 1 : first - 1 + length] for first, length in BANDS)


def test_the_bands_are_the_whole_hash():
    assert "".join("0123456789abcdef"[first - 1 : first - 1 + length] for first, length in BANDS) == "0123456789abcdef"


@pytest.mark.parametrize("bit", [0, 13, 31, 40, 63])
def test_a_picture_is_found_whichever_bits_differ(log, bit):
    differs = sum(1 << ((bit + 13 * n) % 64) for n in range(BITS))
    codes(log, b"photo", f"{2**63 + 5:016x}")
    assert codes(log, b"saved again", f"{(2**63 + 5) ^ differs:016x}", pass_no=2) == ["looks_used_before"]


def test_a_shop_that_allows_more_bits_than_there_are_bands_finds_them_all(tmp_path):
    wide = Settings(store=StoreSettings(near_duplicate_bits=20))
    log = tasks.open_log(tmp_path, wide)
    tasks.open_job(log[0], NewJob("Lid"), person="Ida", at=AT)
    codes(log, b"photo", "0" * 16)
    assert codes(log, b"saved again", "1111111111111111", pass_no=2) == ["looks_used_before"]


@pytest.mark.parametrize("number", range(len(BANDS)))
def test_each_band_is_found_through_its_index(log, number, sqlite_only):
    condition = band(photos.c.picture_hash, number) == "abc"
    query = sa.select(photos.c.sha256).where(condition).compile(log[0].engine, compile_kwargs={"literal_binds": True})
    with log[0].reading() as connection:
        plan = str(connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {query}").all())
    assert f"USING INDEX photos_by_band_{number + 1}" in plan


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
