"""Who may come in: a phone is paired once, people sign in by PIN, and a keeper ends what was lost."""

from __future__ import annotations

import sqlite3

import pytest

from prepcheck import tasks
from prepcheck.web.book import BOOK_FILE
from tests.web.shop import HOME, SETTINGS, Phone, open_page


def code(answer):
    return answer.status_code, answer.json()["error"]["code"]


def link(app):
    return app.state.shop.sessions.new_link()


def pair(phone, token):
    return phone.post("/api/pair", json={"token": token})


# ---- pairing


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/api/jobs"),
        ("GET", "/api/jobs/J-0001"),
        ("GET", "/api/session"),
        ("GET", "/api/inspections/1"),
        ("GET", "/api/inspections/1/photo.jpg"),
        ("GET", "/api/work/" + "0" * 32),
        ("GET", "/api/uploads/" + "0" * 32),
        ("POST", "/api/uploads"),
        ("PATCH", "/api/uploads/" + "0" * 32),
        ("POST", "/api/inspections"),
        ("POST", "/api/inspections/1/outlines"),
        ("POST", "/api/readings/check"),
        ("POST", "/api/links"),
        ("GET", "/api/sessions"),
        ("DELETE", "/api/sessions/1"),
        ("POST", "/api/sign-in"),
        ("POST", "/api/sign-out"),
    ],
)
def test_a_stranger_gets_nothing(stranger, method, path):
    assert code(stranger.request(method, path)) == (401, "not_paired")


def test_every_page_but_those_for_pairing_and_help_is_closed_to_a_stranger(app, stranger):
    open_to_all = {"/pair/{token}", "/help", "/sw.js", "/authority.crt", "/api/pair", "/api/openapi.json"}
    for path in every_path(app) - open_to_all:
        filled = path.replace("{number}", "1").replace("{spot}", "1").replace("{step}", "x").replace("{what}", "wall")
        answer = stranger.get(filled, headers={"Accept": "text/html"}, follow_redirects=False)
        assert answer.status_code in (401, 405, 422), (path, answer.status_code)


def every_path(app):
    found, routers = set(), [app.router]
    while routers:
        for route in routers.pop().routes:
            inner = getattr(route, "original_router", None)
            if inner is not None:
                routers.append(inner)
            elif getattr(route, "methods", None):
                found.add(route.path)
    return found


def test_there_are_many_pages_to_close(app):
    assert len(every_path(app)) > 25


def test_a_link_pairs_one_phone(app, stranger):
    token = link(app)
    assert pair(stranger, token).status_code == 200
    assert stranger.get("/api/session").status_code == 200


def test_a_stolen_link_is_of_no_use_once_it_was_used(app):
    token = link(app)
    assert pair(Phone(app), token).status_code == 200
    assert code(pair(Phone(app), token)) == (403, "not_allowed")


def test_a_link_lies_open_for_ten_minutes(app, clock, stranger):
    token = link(app)
    clock.move(minutes=10, seconds=1)
    assert code(pair(stranger, token)) == (403, "not_allowed")


def test_to_look_at_a_link_does_not_use_it_up(app, stranger):
    """Cameras and messengers open a link to preview it."""
    token = link(app)
    assert stranger.get(f"/pair/{token}").status_code == 200
    assert pair(stranger, token).status_code == 200


@pytest.mark.parametrize("token", ["", "x", "'; drop table pairings; --", "\u0000", "a" * 200])
def test_a_made_up_link_pairs_nothing(stranger, token):
    assert code(pair(stranger, token)) == (403, "not_allowed")


def test_a_session_ends_after_a_month(clock, paired):
    clock.move(days=29, hours=23)
    assert paired.get("/api/session").status_code == 200
    clock.move(hours=2)
    assert code(paired.get("/api/session")) == (401, "not_paired")


def test_a_made_up_cookie_opens_nothing(stranger):
    stranger.cookies.set("prepcheck_session", "x" * 43)
    assert code(stranger.get("/api/session")) == (401, "not_paired")


def test_the_book_holds_no_token(app, folder, paired):
    token, one_more = paired.cookies["prepcheck_session"], link(app)
    with sqlite3.connect(folder / BOOK_FILE) as book:
        text = "\n".join(book.iterdump())
    assert token not in text
    assert one_more not in text
    assert (folder / BOOK_FILE).stat().st_mode & 0o077 == 0


def test_the_cookie_is_out_of_reach_for_scripts_and_other_pages(app, stranger):
    told = pair(stranger, link(app)).headers["set-cookie"].lower()
    assert all(part in told for part in ("httponly", "samesite=strict", "path=/"))


def test_with_https_the_cookie_is_for_this_host_and_https_alone(app):
    phone = Phone(app)
    home = HOME.replace("http:", "https:")
    told = phone.post(f"{home}/api/pair", json={"token": link(app)}, headers={"Origin": home}).headers["set-cookie"]
    assert told.startswith("__Host-prepcheck_session=")
    assert "secure" in told.lower()


# ---- signing in


def test_a_paired_phone_reads_nothing_before_somebody_signs_in(paired):
    assert code(paired.get("/api/jobs")) == (401, "not_signed_in")


def test_a_wrong_pin_signs_nobody_in(paired):
    assert code(paired.sign_in("Rune", "0000")) == (401, "wrong_pin")
    assert code(paired.get("/api/jobs")) == (401, "not_signed_in")


def test_a_person_is_signed_in_for_a_shift(clock, phone):
    clock.move(hours=11)
    assert phone.get("/api/jobs").status_code == 200
    clock.move(hours=2)
    assert code(phone.get("/api/jobs")) == (401, "not_signed_in")


def test_who_signs_out_is_out_and_the_phone_stays_paired(phone):
    assert phone.post("/api/sign-out").status_code == 204
    assert code(phone.get("/api/jobs")) == (401, "not_signed_in")
    assert phone.sign_in("Mika", "1234").json()["role"] == "releaser"


def test_a_person_who_was_erased_is_signed_in_no_longer(app, clock, phone):
    tasks.erase_person(app.state.shop.store, "Rune", reason="left", by="Ola", pin="4711", at=clock(), settings=SETTINGS)
    assert code(phone.get("/api/jobs")) == (401, "not_signed_in")


def test_a_new_role_holds_at_once(app, clock, phone):
    tasks.add_person(
        app.state.shop.store, "Rune", "keeper", "8080", by="Ola", by_pin="4711", at=clock(), settings=SETTINGS
    )
    assert phone.get("/api/sessions").status_code == 200


def test_the_first_to_sign_in_becomes_the_keeper_of_a_new_log(tmp_path):
    with open_page(tmp_path / "new") as app:
        first, second = Phone(app).pair(), Phone(app).pair()
        assert first.sign_in("Ola", "4711").json()["role"] == "keeper"
        assert second.sign_in("Rune", "8080").status_code == 401


# ---- keeping


@pytest.mark.parametrize(
    ("method", "path"), [("POST", "/api/links"), ("GET", "/api/sessions"), ("DELETE", "/api/sessions/1")]
)
@pytest.mark.parametrize(("name", "pin"), [("Rune", "8080"), ("Mika", "1234")])
def test_only_a_keeper_pairs_and_ends(paired, method, path, name, pin):
    paired.sign_in(name, pin)
    assert code(paired.request(method, path)) == (403, "not_allowed")


def test_a_keeper_ends_the_session_of_a_lost_phone(keeper, phone):
    number = phone.get("/api/session").json()["session"]["number"]
    assert keeper.delete(f"/api/sessions/{number}").status_code == 204
    assert code(phone.get("/api/jobs")) == (401, "not_paired")
    assert number not in [one["number"] for one in keeper.get("/api/sessions").json()]


def test_a_keeper_makes_a_link_for_the_next_phone(keeper, stranger):
    token = keeper.post("/api/links").json()["link"].rsplit("/", 1)[1]
    assert pair(stranger, token).status_code == 200


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("Mozilla/5.0 (Linux; Android 14; K) AppleWebKit/537.36 Chrome/130.0.0.0 Safari/537.36", "Android, Chrome"),
        ("Mozilla/5.0 (iPhone; CPU iPhone OS 17_5 like Mac OS X) AppleWebKit/605.1 Version/17.5 Safari/604.1", "iPhone, Safari"),
        ("Mozilla/5.0 (of no known kind)", "a browser"),
        ("the phone by the press", "the phone by the press"),
        ("", "a phone"),
    ],
)  # fmt: skip
def test_a_paired_phone_is_told_by_its_system_and_browser(app, said, told):
    sessions = app.state.shop.sessions
    sessions.pair(sessions.new_link(), said)
    assert [one.device for one in sessions.all()] == [told]
