"""From a photo on a phone to an entry in the log, once."""

from __future__ import annotations

from tests.web.shop import plate_jpeg


def test_a_photo_that_is_sent_is_inspected_and_logged(phone):
    done = phone.inspect(plate_jpeg())
    assert (done["state"], done["inspection"]) == ("done", 1)
    told = phone.get("/api/inspections/1").json()
    assert told["record"]["standing"] == "residue left"
    assert (told["place"]["job"], told["place"]["spot"], told["place"]["person"]) == ("J-0001", 1, "Rune")


def test_each_picture_of_an_inspection_is_shown(phone):
    phone.inspect(plate_jpeg())
    for what, kind in (("photo.jpg", "jpeg"), ("overlay.png", "png"), ("marked.jpg", "jpeg"), ("thumb.jpg", "jpeg")):
        answer = phone.get(f"/api/inspections/1/{what}")
        assert (answer.status_code, answer.headers["content-type"]) == (200, f"image/{kind}"), answer.text
