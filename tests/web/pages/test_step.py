from __future__ import annotations

import pytest

from prepcheck import tasks
from prepcheck.trade import entries as e
from tests.web.pages.reading import read
from tests.web.shop import NOON, SETTINGS

ANYWAY = {"override": "yes", "reason": "the meter is at the yard, read there at 11:40"}


@pytest.fixture
def held(planned):
    """Rune said that the vessel is opened up; readings are missing."""
    tasks.mark_step(planned, "J-0001", "open up", person="Rune", at=NOON, settings=SETTINGS)
    return planned


def post(phone, step, **said):
    return phone.post(f"/jobs/J-0001/steps/{step}", data=said)


def state(store, step):
    return tasks.story_state(tasks.job_story(store, "J-0001"), NOON, SETTINGS).find(step)


def test_a_step_is_said_to_be_done(phone, planned):
    page = read(post(phone, "open-up", do="done", started="11:30", note="fan at the manhole"))
    assert "waits until a named person releases it" in page.words
    assert (state(planned, "open up").note, state(planned, "open up").began_at[11:16]) == (
        "fan at the manhole",
        "11:30",
    )


def test_a_hold_point_tells_what_speaks_against_it(phone, held):
    words = read(phone.get("/jobs/J-0001/steps/open-up")).words
    assert "Held up The condition of the vessel is not logged" in words
    assert "Mind" not in words.split("What there is to say")[0]


def test_of_much_that_holds_a_step_up_the_first_thing_is_shown_and_the_rest_folded_away(phone, held):
    condition = e.VesselCondition(condition="ventilated", previous_contents="diesel", at=NOON)
    tasks.log_entry(held, "J-0001", condition, person="Rune", at=NOON, settings=SETTINGS)
    shown, folded = phone.get("/jobs/J-0001/steps/open-up").text.split("<details>")
    assert "No reading of oxygen" in shown
    assert "and 2 more that hold it up" in folded
    inside, below = folded.split("</details>")
    assert "No reading of flammable vapour" in inside
    assert "Mind" not in inside
    assert "Nobody is entered who tested" in below


def test_two_things_that_hold_a_step_up_are_both_shown(phone, held):
    assert "<details>" not in phone.get("/jobs/J-0001/steps/open-up").text


def test_a_release_asks_for_the_pin_again(phone, held):
    field = read(phone.get("/jobs/J-0001/steps/open-up")).field("pin")
    assert (field["type"], "required" in field, field["autocomplete"]) == ("password", True, "current-password")


def test_what_is_held_up_is_not_released(releaser, held):
    page = read(post(releaser, "open-up", do="release", pin="1234"), 409)
    assert "held up. The condition of the vessel is not logged" in page.words
    assert not state(held, "open up").progress.finished


def test_it_is_released_all_the_same_under_a_name_with_a_reason(releaser, held):
    read(post(releaser, "open-up", do="release", pin="1234", **ANYWAY))
    one = state(held, "open up")
    assert (one.by, one.role, one.note) == ("Mika", "releaser", ANYWAY["reason"])
    assert (
        "Although: The condition of the vessel is not logged" in read(releaser.get("/jobs/J-0001/steps/open-up")).words
    )


@pytest.mark.parametrize(
    ("pin", "status", "told"), [("9999", 401, "this is not the PIN"), ("", 403, "needs the PIN of a releaser")]
)
def test_a_wrong_pin_releases_nothing_and_is_not_shown_again(releaser, held, pin, status, told):
    page = read(post(releaser, "open-up", do="release", pin=pin, **ANYWAY), status)
    assert told in page.words
    assert "value" not in page.field("pin")
    assert not state(held, "open up").progress.finished


def test_who_may_not_release_is_told(phone, held):
    page = read(post(phone, "open-up", do="release", pin="8080", **ANYWAY), 403)
    assert "is no releaser" in page.words


def test_what_was_typed_stays_after_a_fault(releaser, held):
    page = read(post(releaser, "open-up", do="release", pin="9999", **ANYWAY), 401)
    assert ANYWAY["reason"] in page.words
    assert "checked" in page.field("override")


def test_a_step_is_opened_again_with_a_reason(phone, planned):
    assert "the reason is missing" in read(post(phone, "intake", do="reopen"), 400).words
    read(post(phone, "intake", do="reopen", reason="other tank"))
    assert not state(planned, "intake").progress.finished


def test_a_step_that_comes_later_says_what_comes_first(phone, planned):
    words = read(phone.get("/jobs/J-0001/steps/strip")).words
    assert "The step open up has to be released first." in words
    assert "Comes after: open up." in words


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({}, "nobody said what to do"),
        ({"do": "weld"}, "nobody said"),
        ({"do": "done", "started": "soon"}, "is no time"),
    ],
)
def test_what_says_nothing_changes_nothing(phone, planned, said, told):
    assert told in read(post(phone, "open-up", **said), 400).words
    assert not state(planned, "open up").did


def test_a_job_without_a_plan_has_no_steps(phone, store):
    assert phone.get("/jobs/J-0001/steps/weld").status_code == 400


def test_a_step_that_the_plan_does_not_have_is_told(phone, planned):
    assert phone.get("/jobs/J-0001/steps/polish").status_code == 400


def test_two_forms_on_a_page_share_no_id(phone, held):
    ids = [attrs["id"] for _, attrs in read(phone.get("/jobs/J-0001/steps/open-up")).tags if attrs.get("id")]
    assert len(ids) == len(set(ids))


def test_a_page_never_says_that_work_may_start(releaser, held):
    words = read(post(releaser, "open-up", do="release", pin="1234", **ANYWAY)).words.casefold()
    assert "safe" not in words
    assert "may start is for licensed, competent people" in read(releaser.get("/jobs/J-0001/steps/weld")).words
