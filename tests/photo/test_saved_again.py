from __future__ import annotations

import pytest
from PIL import Image

from prepcheck.photo import from_bytes
from prepcheck.photo.header import read_header
from prepcheck.photo.saved_again import _LUMINANCE_SUM, jpeg_quality, signs_of_saving
from prepcheck.settings import PhotoSettings, Settings
from tests.photo.pictures import exif, jpeg, saved, scene

CAMERA = {"make": "Tin", "model": "Box", "x9003": "2026:03:14 09:26:53", "xA002": 320, "xA003": 240}


def signs(data: bytes) -> tuple[str, ...]:
    return signs_of_saving(read_header(data, "a", PhotoSettings()))


def test_a_photo_as_the_camera_stored_it_shows_no_sign():
    assert signs(jpeg(scene(), 95, exif=exif(**CAMERA))) == ()


def test_a_camera_that_stores_the_upright_size_of_a_turned_picture_shows_no_sign():
    assert signs(jpeg(scene(240, 320), 95, exif=exif(**CAMERA))) == ()


@pytest.mark.parametrize(
    ("data", "sign"),
    [
        (lambda: jpeg(scene(), 95), "neither camera nor capture time"),
        (lambda: jpeg(scene(160, 120), 95, exif=exif(**CAMERA)), "size that the camera stored"),
        (lambda: jpeg(scene(), 95, exif=exif(**CAMERA), progressive=True), "progressive"),
        (lambda: jpeg(scene(), 60, exif=exif(**CAMERA)), "strongly compressed"),
        (lambda: saved(Image.fromarray(scene()), "WEBP", exif=exif(**CAMERA)), "WebP"),
    ],
    ids=["stripped", "resized", "progressive", "compressed", "webp"],
)
def test_each_sign_is_seen(data, sign):
    assert any(sign in said for said in signs(data()))


def test_an_editing_program_that_left_its_segment_is_seen():
    data = jpeg(scene(), 95, exif=exif(**CAMERA))
    body = b"Photoshop 3.0\x008BIM\x04\x04\x00\x00\x00\x00\x00\x00"
    segment = b"\xff\xed" + (len(body) + 2).to_bytes(2, "big") + body
    assert any("editing" in said for said in signs(data[:2] + segment + data[2:]))


def test_the_photo_says_whether_it_looks_saved_again():
    assert from_bytes(jpeg(scene(), 95), "a", Settings()).re_encoded
    assert not from_bytes(jpeg(scene(), 95, exif=exif(**CAMERA)), "a", Settings()).re_encoded


@pytest.mark.parametrize("quality", [20, 50, 75, 90, 95])
def test_the_quality_estimate_finds_the_quality_that_was_asked(quality):
    header = read_header(jpeg(scene(), quality), "a", PhotoSettings())
    assert jpeg_quality(header.tables[0]) == pytest.approx(quality, abs=3)


def test_the_sum_of_the_published_table_is_the_one_in_use():
    """ITU-T T.81, table K.1; libjpeg writes it unscaled at quality 50."""
    assert sum(read_header(jpeg(scene(), 50), "a", PhotoSettings()).tables[0]) == _LUMINANCE_SUM
