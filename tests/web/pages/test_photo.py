from __future__ import annotations

import pytest

from prepcheck.web.pages.photo import TORCHES
from tests.web.pages.reading import read
from tests.web.shop import plate_jpeg


def test_the_first_photo_of_a_job_is_of_spot_1_pass_1(phone):
    page = read(phone.get("/jobs/J-0001/photo"))
    assert (page.field("spot")["value"], page.field("pass_no")["value"]) == ("1", "1")


def test_a_named_spot_is_proposed_with_its_next_pass(phone, inspected):
    page = read(phone.get("/jobs/J-0001/photo?spot=1"))
    assert (page.field("spot")["value"], page.field("pass_no")["value"]) == ("1", "2")
    assert "Pass: the last was 1, residue left" in page.words


@pytest.mark.parametrize(
    ("kind", "accepts", "several", "camera"),
    [("photo", "image/*", False, True), ("set", "image/*", True, False), ("clip", "video/*", False, True)],
)
def test_each_kind_asks_the_phone_for_what_it_needs(phone, kind, accepts, several, camera):
    field = read(phone.get(f"/jobs/J-0001/photo?kind={kind}")).field("photos")
    assert field["accept"] == accepts
    assert ("multiple" in field, "capture" in field) == (several, camera)


def test_a_moved_light_set_says_where_to_hold_the_torch(phone):
    words = read(phone.get("/jobs/J-0001/photo?kind=set")).words
    assert all(torch.words in words for torch in TORCHES)
    assert "only the torch moves" in words


def test_every_torch_shines_through_the_spot():
    for torch in TORCHES:
        far = [float(part) for part in torch.beam.split("L")[1].rstrip("z").split()]
        middle = ((far[0] + far[2]) / 2, (far[1] + far[3]) / 2)
        assert (60 - torch.x) * (middle[1] - torch.y) == pytest.approx((45 - torch.y) * (middle[0] - torch.x), abs=1)


def test_a_kind_that_is_none_is_one_photo(phone):
    assert read(phone.get("/jobs/J-0001/photo?kind=<b>")).field("kind")["value"] == "photo"


def test_without_a_script_the_form_sends_the_photo_and_shows_the_result(phone, store):
    said = {"spot": "sump", "pass_no": "1", "kind": "photo", "note": "white dust"}
    answer = phone.post("/jobs/J-0001/photo", data=said, files={"photos": ("a.jpg", plate_jpeg(), "image/jpeg")})
    page = read(answer)
    assert "residue left" in page.words
    (one,) = store.story("J-0001").inspections
    assert (one.person, one.note, one.photo_name) == ("Rune", "white dust", "a.jpg")


def test_without_a_script_several_photos_are_one_set(phone, store):
    files = [("photos", (f"{k}.jpg", plate_jpeg(seed=k), "image/jpeg")) for k in range(2)]
    read(phone.post("/jobs/J-0001/photo", data={"spot": "1", "pass_no": "1", "kind": "set"}, files=files))
    (one,) = store.story("J-0001").inspections
    assert one.photos == ("0.jpg", "1.jpg")


@pytest.mark.parametrize(
    ("changed", "data", "status", "said"),
    [
        ({"pass_no": "many"}, plate_jpeg(), 400, "the grinding pass is no number"),
        ({"pass_no": "100"}, plate_jpeg(), 400, "pass no"),
        ({"mm_per_px": "nan"}, plate_jpeg(), 400, "mm per px"),
        ({}, b"", 413, "holds 0 bytes"),
    ],
)
def test_what_cannot_be_taken_is_said_on_the_same_page(phone, store, changed, data, status, said):
    files = {"photos": ("a.jpg", data, "image/jpeg")}
    page = read(phone.post("/jobs/J-0001/photo", data={"spot": "1", "pass_no": "1", **changed}, files=files), status)
    assert said in page.words
    assert store.story("J-0001").inspections == ()


def test_what_is_no_photo_is_told_and_not_logged(phone, store):
    files = {"photos": ("../../etc/x.jpg", b"<script>alert(1)</script>", "image/jpeg")}
    page = read(phone.post("/jobs/J-0001/photo", data={"spot": "1", "pass_no": "1"}, files=files), 415)
    assert "This photo was not logged" in page.words
    assert store.story("J-0001").inspections == ()
