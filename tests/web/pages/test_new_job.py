from __future__ import annotations

import pytest

from tests.web.pages.reading import read

SAID = {"title": "Leak at the lower seam", "work": "closed-vessel", "wall": "5 mm", "previous_contents": "diesel"}


def test_a_job_is_opened_with_its_plan(phone, store):
    page = read(phone.post("/jobs/new", data={**SAID, "part": "lower shell", "alloy": "5083"}))
    assert "J-0002 Leak at the lower seam" in page.words
    assert "All steps: Closed vessel" in page.words
    job = store.story("J-0002").job
    assert (job.wall_mm, job.alloy, job.previous_contents, job.opened_by) == (5.0, "5083", "diesel", "Rune")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"title": ""}, "what is to be done is missing"),
        ({"work": ""}, "the kind of work is missing"),
        ({"work": "/etc/plan.toml"}, "is no kind of work"),
        ({"wall": "5"}, "the wall has no unit"),
        ({"wall": "-5 mm"}, "the wall must be above 0"),
        ({"title": "x" * 201}, "has 201 characters"),
    ],
)
def test_what_cannot_be_used_is_said_and_what_was_typed_stays(phone, store, changed, said):
    page = read(phone.post("/jobs/new", data={**SAID, **changed}), 404 if said == "no" else 400)
    assert said in page.words
    assert page.field("previous_contents")["value"] == "diesel"
    assert len(store.jobs()) == 1


def test_no_work_is_chosen_for_the_person(phone):
    radios = [one for one in read(phone.get("/jobs/new")).all("input") if one.get("name") == "work"]
    assert [one["value"] for one in radios] == ["closed-vessel", "open-vessel", "plain-part"]
    assert not [one for one in radios if "checked" in one]
