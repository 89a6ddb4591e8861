from __future__ import annotations

import pytest

from prepcheck.web.looker import Fault
from prepcheck.web.work import Status
from tests.web.pages.reading import read

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
