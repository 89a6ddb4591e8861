from __future__ import annotations

import re

import pytest

from prepcheck import tasks
from prepcheck.errors import WrongPin
from tests.web.pages.reading import read
from tests.web.shop import NOON, SETTINGS

NEW = {"do": "add", "name": "Sunna", "role": "welder", "new_pin": "2468", "pin": "4711"}


def test_a_keeper_sees_people_and_phones(keeper):
    words = read(keeper.get("/people")).words
    assert "Mika releaser: logs and releases hold points" in words
    assert "a phone Ola, seen 2026-11-28 12:00" in words


def test_who_keeps_nothing_sees_no_phones_and_can_change_none(phone):
    assert "Paired phones" not in read(phone.get("/people")).words
    for said in ({"do": "pair"}, {"do": "revoke", "session": "1"}, {**NEW, "pin": "8080"}):
        read(phone.post("/people", data=said), 403)
    assert "Paired phones" not in read(phone.get("/people")).words


def test_a_link_pairs_one_phone_once(app, keeper, stranger):
    page = read(keeper.post("/people", data={"do": "pair"}))
    (link,) = re.findall(r"/pair/[\w-]+", page.words)
    assert any(
        one.get("class", "").startswith("segno") or "viewBox" in one or "viewbox" in one for one in page.all("svg")
    )
    read(stranger.post(link))
    assert read(stranger.get("/sign-in")).field("pin")
    assert "used already" in read(stranger.post(link), 403).words


def test_a_phone_that_lost_its_right_is_out(keeper, phone):
    sessions = {one["device"]: one for one in keeper.get("/api/sessions").json() if one["person"] == "Rune"}
    number = sessions["a phone"]["number"]
    assert "has to be paired again" in read(keeper.post("/people", data={"do": "revoke", "session": str(number)})).words
    assert phone.get("/").status_code == 401


def test_a_keeper_names_a_person_with_a_pin(keeper, store):
    assert "Sunna is welder now" in read(keeper.post("/people", data=NEW)).words
    assert tasks.check_pin(store, "Sunna", "2468", at=NOON, settings=SETTINGS).role == "welder"


@pytest.mark.parametrize(
    ("changed", "status"),
    [
        ({"pin": "0000"}, 401),
        ({"role": "boss"}, 400),
        ({"new_pin": "1"}, 400),
        ({"name": ""}, 400),
        ({"do": "sack"}, 400),
    ],
)
def test_what_cannot_be_is_refused_without_showing_a_pin(keeper, store, changed, status):
    page = read(keeper.post("/people", data={**NEW, **changed}), status)
    assert "4711" not in str(page.tags)
    assert "2468" not in str(page.tags)
    assert "Sunna" not in [one.name for one in tasks.list_people(store)]


def test_a_person_changes_their_own_pin(phone, store):
    read(phone.post("/people", data={"do": "pin", "pin": "8080", "new_pin": "9090"}))
    with pytest.raises(WrongPin):
        tasks.check_pin(store, "Rune", "8080", at=NOON, settings=SETTINGS)
    assert tasks.check_pin(store, "Rune", "9090", at=NOON, settings=SETTINGS)


def test_what_a_pin_does_not_guard_is_said(phone):
    assert "no guard against somebody who can copy the log's folder" in read(phone.get("/people")).words
