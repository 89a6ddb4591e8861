from __future__ import annotations

import pytest

from prepcheck.web.looker import Fault
from prepcheck.web.work import Status
from tests.web.pages.reading import read
from tests.web.shop import two_spots

ID = "ab" * 16


@pytest.fixture
def stands(app, monkeypatch):
    """Make every work stand as the test says."""

    def as_told(status):
        monkeypatch.setattr(app.state.shop.works, "status", lambda id: status)

    return as_told


def test_a_finished_work_leads_to_its_result(phone, inspected, stands):
    stands(Status("done", 1.0, "Done", 1))
    answer = phone.get(f"/work/{ID}", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/inspections/1")


def test_a_failed_work_says_why_with_its_status(phone, stands):
    stands(Status("failed", 1.0, "a.jpg: is no photo. Send one.", None, Fault("not_a_photo", "x", 415)))
    page = read(phone.get(f"/work/{ID}"), 415)
    assert "This photo was not logged" in page.words
    assert "a.jpg: is no photo. Send one." in page.words


def test_a_work_that_takes_long_tells_how_far_it_is(phone, stands, monkeypatch):
    monkeypatch.setattr("prepcheck.web.pages.work._STEP_S", 60.0)

    async def at_once(seconds):
        assert seconds == 60.0

    monkeypatch.setattr("prepcheck.web.pages.work.asyncio.sleep", at_once)
    stands(Status("running", 0.3, "Looking for residue"))
    page = read(phone.get(f"/work/{ID}"))
    assert "Looking for residue" in page.words
    assert page.all("progress")[0]["value"] == "0.3"


@pytest.mark.parametrize("id", ["..%2f..%2fetc", "x", "AB" * 16, "ab" * 17])
def test_an_id_that_is_none_is_refused(phone, id):
    assert phone.get(f"/work/{id}").status_code in (404, 422)


def test_a_work_that_is_not_there_is_told(phone):
    assert phone.get(f"/work/{ID}").status_code == 404


# ---- choosing among several outlines, without a script


@pytest.fixture
def undecided(phone):
    """Where a photo of two places was sent by a form and waits for a person."""
    said = {"spot": "1", "pass_no": "1", "kind": "photo"}
    answer = phone.post("/jobs/J-0001/photo", data=said, files={"photos": ("two.jpg", two_spots(), "image/jpeg")})
    return answer


def test_of_several_outlines_one_is_chosen_by_a_form(phone, store, undecided):
    page = read(undecided, 409)
    assert "Which one is the spot?" in page.words
    assert [one["value"] for one in page.all("input") if one["name"] == "outline"] == ["1", "2"]
    read(phone.post(undecided.url.path, data={"outline": "2"}))
    (logged,) = store.story("J-0001").inspections
    assert (logged.outline, logged.person) == (2, "Rune")


def test_the_outlines_are_shown_on_the_photo(phone, undecided):
    (picture,) = read(undecided, 409).all("img")
    shown = phone.get(picture["src"])
    assert (shown.status_code, shown.headers["content-type"]) == (200, "image/jpeg")


def test_without_the_picture_the_numbers_can_still_be_chosen(app, phone, store, undecided):
    app.state.shop.works._tidy()
    assert read(phone.get(undecided.url.path), 409).all("img") == []
    assert phone.get(f"{undecided.url.path}/outlines.jpg").status_code == 404
    read(phone.post(undecided.url.path, data={"outline": "1"}))
    assert len(store.story("J-0001").inspections) == 1


def test_nobody_chooses_in_the_name_of_another(keeper, store, undecided):
    page = read(keeper.post(undecided.url.path, data={"outline": "1"}), 403)
    assert "Sign in as Rune to choose" in page.words
    assert store.story("J-0001").inspections == ()


@pytest.mark.parametrize("number", ["0", "-1", "1000", "x", ""])
def test_a_number_that_is_none_is_refused(phone, undecided, number):
    assert phone.post(undecided.url.path, data={"outline": number}).status_code == 422


def test_an_outline_that_the_photo_does_not_have_is_told(phone, store, undecided):
    page = read(phone.post(undecided.url.path, data={"outline": "7"}), 400)
    assert "has no outline 7" in page.words
    assert store.story("J-0001").inspections == ()
