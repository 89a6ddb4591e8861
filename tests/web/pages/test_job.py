from __future__ import annotations

from tests.web.pages.reading import read


def test_a_job_without_a_plan_asks_for_one(phone, store):
    assert "No plan of steps is chosen" in read(phone.get("/jobs/J-0001")).words
    page = read(phone.post("/jobs/J-0001/plan", data={"work": "plain-part"}))
    assert "All steps: Plain part" in page.words


def test_a_plan_is_never_read_from_a_path(phone, store):
    page = read(phone.post("/jobs/J-0001/plan", data={"work": "/tmp/own.toml"}), 400)
    assert "is no kind of work" in page.words
    assert store.story("J-0001").events == ()


def test_a_welder_cannot_change_the_plan(phone, planned):
    page = read(phone.post("/jobs/J-0001/plan", data={"work": "plain-part"}), 403)
    assert "All steps: Closed vessel" in page.words


def test_what_is_next_leads_to_the_step(phone, planned):
    page = read(phone.get("/jobs/J-0001"))
    assert "open up: Empty, wash and air it; take readings before any spark" in page.words
    assert {"class": "go", "href": "/jobs/J-0001/steps/open-up"} in page.all("a")


def test_what_holds_a_step_up_is_told_with_its_lead(phone, planned):
    assert "Held up The condition of the vessel is not logged" in read(phone.get("/jobs/J-0001")).words


def test_a_spot_stands_with_its_picture_word_and_score(phone, inspected):
    page = read(phone.get("/jobs/J-0001"))
    assert "Spot 1 residue left" in page.words
    assert "pass 1: score" in page.words
    assert f"/api/inspections/{inspected}/thumb.jpg" in [one["src"] for one in page.all("img")]


def test_cautions_stand_wherever_a_score_is_shown(phone, inspected):
    assert "no published grade exists" in read(phone.get("/jobs/J-0001")).words


def test_an_unknown_job_is_told_as_a_page(phone):
    page = read(phone.get("/jobs/J-0999", headers={"Accept": "text/html"}), 404)
    assert "Not found" in page.words
    assert "J-0999: no such job" in page.words
