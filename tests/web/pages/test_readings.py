from __future__ import annotations

import pytest

from prepcheck.web.pages.entry_forms import FORMS
from tests.web.pages.reading import read

CONDITION = {"what": "condition", "condition": "ventilated", "previous_contents": "diesel"}
OXYGEN = {"what": "reading", "gas": "oxygen", "value": "20.9", "place": "sump", "height_m": "0.2"}


def test_every_kind_of_entry_can_be_chosen(phone):
    page = read(phone.get("/jobs/J-0001/readings"))
    assert [one["href"] for one in page.all("a") if "what=" in (one["href"] or "")] == [f"?what={key}" for key in FORMS]


def test_an_entry_is_logged_under_who_is_signed_in_and_told(phone, store):
    page = read(phone.post("/jobs/J-0001/readings", data=OXYGEN))
    assert "Logged: oxygen 20.9 % by volume at sump, 0.20 m up" in page.words
    (event,) = store.story("J-0001").events
    assert (event.person, event.entry.value) == ("Rune", 20.9)


def test_what_the_readings_say_is_told_once_there_is_a_condition(phone):
    read(phone.post("/jobs/J-0001/readings", data=OXYGEN))
    assert "What the readings so far say" not in read(phone.get("/jobs/J-0001/readings")).words
    words = read(phone.post("/jobs/J-0001/readings", data=CONDITION)).words
    assert "What the readings so far say Held up" in words
    assert "No reading of toxic gas in this condition." in words


def test_what_the_readings_say_is_left_out_beside_a_wall(phone):
    read(phone.post("/jobs/J-0001/readings", data=CONDITION))
    assert "What the readings so far say" not in read(phone.get("/jobs/J-0001/readings?what=wall")).words


def test_live_limits_need_a_condition(phone):
    assert not [one for one in read(phone.get("/jobs/J-0001/readings")).all("form") if "data-limits" in one]
    phone.post("/jobs/J-0001/readings", data=CONDITION)
    (form,) = [one for one in read(phone.get("/jobs/J-0001/readings")).all("form") if "data-limits" in one]
    assert (form["data-limits"], form["data-job"]) == ("/api/readings/check", "J-0001")


def test_what_the_job_held_is_proposed(phone, store):
    from prepcheck import tasks
    from prepcheck.store import NewJob
    from tests.web.shop import NOON

    tasks.open_job(store, NewJob("Tank", previous_contents="petrol"), person="Ola", at=NOON)
    page = read(phone.get("/jobs/J-0002/readings?what=condition"))
    assert page.field("previous_contents")["value"] == "petrol"


@pytest.mark.parametrize(
    ("changed", "told"),
    [({"value": ""}, "value"), ({"value": "101"}, "goes from 0 to 100"), ({"taken_at": "2099-01-01 10:00"}, "future")],
)
def test_what_cannot_be_is_not_logged_and_stays_typed(phone, store, changed, told):
    page = read(phone.post("/jobs/J-0001/readings", data={**OXYGEN, **changed}), 400)
    assert told in page.words
    assert page.field("place")["value"] == "sump"
    assert store.story("J-0001").events == ()


def test_a_kind_that_is_none_asks_for_a_reading(phone):
    assert read(phone.get("/jobs/J-0001/readings?what=%3Cscript%3E")).field("what")["value"] == "reading"


def test_entries_are_listed_newest_first(phone):
    phone.post("/jobs/J-0001/readings", data=OXYGEN)
    words = read(phone.post("/jobs/J-0001/readings", data={"what": "note", "text": "white dust"})).words
    listed = words.split("Logged so far")[1]
    assert listed.index("note: white dust") < listed.index("oxygen 20.9")
