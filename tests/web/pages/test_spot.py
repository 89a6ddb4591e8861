from __future__ import annotations

import io

from PIL import Image

from tests.web.pages.reading import read
from tests.web.shop import plate_jpeg


def test_the_passes_stand_in_a_strip_with_standing_and_score(phone, two_passes):
    page = read(phone.get("/jobs/J-0001/spots/1"))
    assert page.words.index("Pass 1 residue left") < page.words.index("Pass 2")
    assert [one["href"] for one in page.all("a") if "/inspections/" in (one["href"] or "")] == [
        f"/inspections/{number}" for number in two_passes
    ]


def test_the_chart_says_in_words_what_it_shows(phone, two_passes):
    (chart,) = [one for one in read(phone.get("/jobs/J-0001/spots/1")).all("svg") if one.get("role") == "img"]
    assert chart["aria-label"].startswith("pass 1: residue left, score ")


def test_one_pass_draws_no_chart_and_compares_nothing(phone, inspected):
    page = read(phone.get("/jobs/J-0001/spots/1"))
    assert not [one for one in page.all("svg") if one.get("role") == "img"]
    assert "Compare two passes" not in page.words


def test_two_photos_stand_side_by_side_until_they_are_to_be_laid_over_each_other(phone, two_passes):
    page = read(phone.get("/jobs/J-0001/spots/1"))
    (pair,) = [one for one in page.all("div") if "data-slider" in one]
    assert pair["data-laid"] == "no"


def test_a_photo_laid_over_another_has_its_frame(phone, two_passes):
    first, second = two_passes
    page = read(phone.get(f"/jobs/J-0001/spots/1?a={first}&b={second}"))
    (pair,) = [one for one in page.all("div") if "data-slider" in one]
    assert pair["data-laid"] == "yes"
    (later,) = [one for one in page.all("img") if "data-slider-b" in one]
    laid = Image.open(io.BytesIO(phone.get(later["src"]).content))
    alone = Image.open(io.BytesIO(phone.get(f"/api/inspections/{first}/photo.jpg?long=1280").content))
    assert laid.size == alone.size


def test_photos_of_different_spots_are_not_laid_over_each_other(phone, inspected):
    told = phone.inspect(plate_jpeg(seed=2), spot="other")
    answer = phone.get(f"/inspections/{told['inspection']}/over/{inspected}.jpg")
    assert answer.status_code == 404
    assert "different spots" in answer.json()["error"]["message"]


def test_numbers_that_are_none_of_the_spot_are_left_aside(phone, two_passes):
    first, second = two_passes
    page = read(phone.get("/jobs/J-0001/spots/1?a=999&b=-1"))
    photos = [one["src"] for one in page.all("img") if "data-slider-a" in one or "data-slider-b" in one]
    assert f"/api/inspections/{first}/" in photos[0]
    assert f"{second}" in photos[1]


def test_a_spot_that_is_not_there_is_told(phone, inspected):
    assert phone.get("/jobs/J-0001/spots/9").status_code == 404
