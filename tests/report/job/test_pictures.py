"""Photos in the report are new pictures: upright, smaller, marked, without anything of the file's own data."""

import io

import numpy as np
import pytest
from PIL import Image

from prepcheck.report.job.pictures import LARGE_PX, SMALL_PX, picture_of
from prepcheck.trade.units import System
from tests.photo.pictures import jpeg
from tests.report.job import made


def sample_picture(**options):
    return picture_of(made.photo(made.sample("residue").sha256), "residue.jpg", made.records()[4], "c", "a", **options)


def test_a_picture_is_made_smaller_in_proportion():
    small = sample_picture()
    assert max(small.width, small.height) == SMALL_PX
    with Image.open(made.sample("residue").path) as whole:
        assert small.width / small.height == pytest.approx(whole.width / whole.height, abs=0.005)


def test_a_small_photo_is_not_made_larger():
    drawn = picture_of(jpeg(np.full((60, 80, 3), 120, np.uint8)), "s.jpg", None, "c", "a", long_side=LARGE_PX)
    assert (drawn.width, drawn.height) == (80, 60)


def test_position_camera_and_all_other_data_of_the_file_are_gone():
    exif = Image.Exif()
    exif[0x010F] = "Maker"
    exif.get_ifd(0x8825)[2] = (1.0, 2.0, 3.0)
    file = io.BytesIO()
    Image.new("RGB", (90, 60), (120, 130, 140)).save(file, "JPEG", exif=exif, comment=b"where it was")
    drawn = picture_of(file.getvalue(), "p.jpg", None, "c", "a")
    again = Image.open(io.BytesIO(drawn.jpeg))
    assert dict(again.getexif()) == {}
    assert b"Exif" not in drawn.jpeg
    assert b"Maker" not in drawn.jpeg
    assert b"where it was" not in drawn.jpeg


def test_a_photo_taken_on_its_side_stands_upright():
    exif = Image.Exif()
    exif[0x0112] = 6  # turn by 90 degrees: EXIF 2.3 (JEITA CP-3451C), tag 0x0112
    file = io.BytesIO()
    Image.new("RGB", (90, 60), (120, 130, 140)).save(file, "JPEG", exif=exif)
    drawn = picture_of(file.getvalue(), "p.jpg", None, "c", "a")
    assert (drawn.width, drawn.height) == (60, 90)


def test_the_logged_outline_is_drawn():
    data = made.photo(made.sample("residue").sha256)
    plain = np.asarray(Image.open(io.BytesIO(picture_of(data, "r.jpg", None, "c", "a").jpeg)), int)
    marked = np.asarray(Image.open(io.BytesIO(sample_picture().jpeg)), int)
    changed = np.abs(plain - marked).max(axis=2) > 60
    assert 0.005 < changed.mean() < 0.2


def test_the_length_at_the_arrow_is_in_the_reports_units():
    assert sample_picture().jpeg != sample_picture(system=System.US).jpeg


def test_bytes_that_are_no_photo_give_the_reason():
    assert isinstance(picture_of(b"%PDF-1.7", "x.jpg", None, "c", "a"), str)
