"""What a reading means is said while it is typed, and nothing of it is logged."""

from __future__ import annotations

import pytest

from prepcheck import tasks
from prepcheck.trade.entries import State, VesselCondition
from tests.web.shop import SETTINGS

TYPED = {"gas": "oxygen", "value": 20.9, "place": "middle", "sensor": "electrochemical"}


@pytest.fixture
def ventilated(app, clock):
    entry = VesselCondition(condition=State.VENTILATED, previous_contents="diesel", at=clock())
    tasks.log_entry(app.state.shop.store, "J-0001", entry, person="Rune", at=clock(), settings=SETTINGS)


def check(phone, **typed):
    return phone.post("/api/readings/check", json={"job": "J-0001", "readings": {**TYPED, **typed}})


def weights(answer):
    assert answer.status_code == 200, answer.text
    return {one["code"]: one["weight"] for one in answer.json()["remarks"]}


def test_without_a_condition_there_is_nothing_to_hold_a_reading_against(phone):
    assert weights(check(phone)) == {}


@pytest.mark.parametrize(("value", "told"), [(17.0, "hold"), (19.4, "hold"), (20.9, None)])
def test_air_with_too_little_oxygen_holds_while_it_is_typed(ventilated, phone, value, told):
    """At least 19.5 % by volume: 29 CFR 1915.12(a)(2), seen; what is held against it is tested with the check itself."""
    assert weights(check(phone, value=value)).get("oxygen_low") == told


def test_nothing_is_logged_by_it(app, ventilated, phone):
    before = len(tasks.job_story(app.state.shop.store, "J-0001").events)
    check(phone, value=17.0)
    assert len(tasks.job_story(app.state.shop.store, "J-0001").events) == before


@pytest.mark.parametrize("value", ["much", "", "<b>", "1e999", "nan"])
def test_a_reading_that_is_none_is_told(ventilated, phone, value):
    answer = check(phone, value=value)
    assert answer.status_code == 400
    assert set(answer.json()) == {"error"}
