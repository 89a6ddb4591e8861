"""Guessing PINs over HTTP: slowed down, locked, told how long, and never told whose names are in the log."""

from __future__ import annotations

from contextlib import contextmanager

import httpx
import pytest

from prepcheck import tasks
from prepcheck.store import NewJob
from prepcheck.store.tables import pin_attempts
from prepcheck.web.limits import WebLimits
from tests.web.pages.places import served
from tests.web.shop import SETTINGS, Phone, open_page

RIGHT = "8080"


def told(answer):
    return answer.status_code, answer.json()["error"]["code"], answer.json()["error"]["message"]


# ---- what is told


def test_the_wrong_pin_that_locks_says_until_when(paired):
    """The clock stands at 12:00; the lock of 15 min is a setting."""
    answers = [told(paired.sign_in("Rune", "0000")) for _ in range(6)]
    assert len(set(answers[:4])) == 1
    assert "Try again after 12:15" not in answers[3][2]
    assert answers[4][:2] == (401, "wrong_pin")
    assert "Try again after 12:15" in answers[4][2]
    assert answers[5][:2] == (429, "pin_locked")
    assert "Try again after 12:15" in answers[5][2]


def test_the_page_says_until_when_too(paired):
    for _ in range(4):
        paired.sign_in("Rune", "0000")
    answer = paired.post("/sign-in", data={"name": "Rune", "pin": "0000"}, headers={"Accept": "text/html"})
    assert "Try again after 12:15" in answer.text


@pytest.mark.parametrize("nobody", ["Nora", "<b>", "Kari"])
def test_a_name_that_is_nobodys_is_answered_like_one_that_is(app, clock, paired, nobody):
    tasks.open_job(
        app.state.shop.store, NewJob("Bowser, hatch"), person="Kari", at=clock()
    )  # in the log, but without a PIN
    for minutes in (0,) * 7 + (10, 6, 1):
        clock.move(minutes=minutes)
        somebody = told(paired.sign_in("Rune", "0000"))
        strange = told(paired.sign_in(nobody, "0000"))
        assert (*strange[:2], strange[2].replace(nobody, "Rune")) == somebody


def test_names_of_nobody_that_are_counted_do_not_fill_the_memory(app, paired, monkeypatch):
    monkeypatch.setattr("prepcheck.web.pins._MOST", 3)
    for n in range(9):
        paired.sign_in(f"Nobody {n}", "0000")
    assert list(app.state.shop.sessions._pins._strangers) == ["nobody 6", "nobody 7", "nobody 8"]


def test_a_stranger_costs_as_much_work_as_a_wrong_pin(paired, monkeypatch):
    from prepcheck.tasks import people

    made, argon2 = [], people._argon2
    monkeypatch.setattr(people, "_argon2", lambda settings: made.append(settings) or argon2(settings))
    paired.sign_in("Nora", "0000")
    assert len(made) == 1


# ---- ten thousand PINs


class Seconds:
    """Seconds that pass when they are told to; the shop's clock goes with them."""

    def __init__(self, clock):
        self.now, self.clock = 0.0, clock

    def __call__(self):
        return self.now

    def wait(self, seconds):
        self.now += seconds
        self.clock.move(seconds=seconds)


@contextmanager
def besieged(folder, clock, monkeypatch):
    """A page with its own limits, served over HTTP, with a paired phone that guesses; its seconds pass as told."""
    seconds = Seconds(clock)
    with open_page(folder, clock=clock, limits=WebLimits()) as app, served(app) as home:
        monkeypatch.setattr(app.state.shop.buckets, "_seconds", seconds)
        with client(home, "127.0.0.1") as guesser, client(home, "127.0.0.2") as other:
            for phone in (guesser, other):
                pair(app, phone)
            yield app, seconds, guesser, other


def client(home, at):
    """A phone with an address of its own."""
    way = httpx.HTTPTransport(local_address=at)
    return httpx.Client(base_url=home, headers={"Origin": home}, transport=way, timeout=30)


def pair(app, phone):
    assert phone.post("/api/pair", json={"token": app.state.shop.sessions.new_link()}).status_code == 200


def sign_in(phone, name, pin):
    return phone.post("/api/sign-in", json={"name": name, "pin": pin})


def guess(phone, seconds, count):
    """Send wrong PINs as fast as the page takes them, and return how each was answered in the end."""
    answers = []
    for pin in range(count):
        answer = sign_in(phone, "Rune", f"{pin:05d}")
        while answer.json()["error"]["code"] == "too_often":
            seconds.wait(float(answer.headers["Retry-After"]))
            answer = sign_in(phone, "Rune", f"{pin:05d}")
        answers.append((answer.status_code, answer.json()["error"]["code"]))
    return answers


def looked_at(store):
    with store.reading() as connection:
        return len(connection.execute(pin_attempts.select().where(pin_attempts.c.right == 0)).all())


@pytest.mark.parametrize("count", [120, pytest.param(10_000, marks=pytest.mark.nightly)])
def test_wrong_pins_as_fast_as_the_page_takes_them_let_nobody_in(folder, clock, monkeypatch, count):
    """Wrong PINs alone, so that luck is no part of it: how many of them were looked at is what a guesser gets."""
    with besieged(folder, clock, monkeypatch) as (app, seconds, guesser, other):
        answers = guess(guesser, seconds, count)
        assert set(answers) == {(401, "wrong_pin"), (429, "pin_locked")}
        assert guesser.get("/api/jobs").status_code == 401
        locks = seconds.now / 60 / SETTINGS.people.locked_minutes
        assert answers.count((401, "wrong_pin")) == looked_at(app.state.shop.store) <= 5 + locks
        assert seconds.now >= (count - 8) * 10 - 10  # 8 at once, then 6 a minute
        assert sign_in(other, "Mika", "1234").status_code == 200
        assert sign_in(other, "Rune", RIGHT).json()["error"]["code"] == "pin_locked"
        seconds.wait(SETTINGS.people.locked_minutes * 60 + 1)
        assert sign_in(other, "Rune", RIGHT).status_code == 200


def test_a_phone_is_slowed_down_before_it_locks_people_out_one_by_one(folder, clock):
    with open_page(folder, clock=clock, limits=WebLimits()) as app:
        phone = Phone(app).pair()
        answers = [phone.sign_in(f"Nobody {n}", "1111") for n in range(12)]
    assert [answer.status_code for answer in answers[:8]] == [401] * 8
    assert told(answers[-1])[:2] == (429, "too_often")
    assert int(answers[-1].headers["Retry-After"]) >= 1
