"""What is refused before a route is asked, and what every answer says to a browser."""

from __future__ import annotations

import asyncio
import logging

import pytest

from prepcheck.web.limits import Buckets, Rate, WebLimits
from tests.web.shop import HOME, PATIENT, Phone, open_page

NAMED = {"key": "key-of-the-phone-1", "name": "a.jpg", "bytes": 10}


# ---- hosts and origins


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "127.0.0.1.evil.example",
        "",
        "a@127.0.0.1/x",
        "localhost.evil.example:8473",
        "[::1",
        "127.1.evil",
    ],
)
def test_a_name_that_is_not_this_computers_is_refused(phone, host):
    """So a name server cannot make another page's scripts read this one (DNS rebinding)."""
    answer = phone.get("/api/jobs", headers={"Host": host})
    assert (answer.status_code, answer.json()["error"]["code"]) == (421, "unknown_host")


@pytest.mark.parametrize(
    "host", ["127.0.0.1:8473", "192.168.1.5:8473", "localhost:8473", "LOCALHOST", "[::1]:8473", "[fd00::2]"]
)
def test_addresses_in_figures_and_own_names_are_fine(phone, host):
    assert phone.get("/api/jobs", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:8473", "http://127.0.0.1:9999", ""]
)
@pytest.mark.parametrize("path", ["/api/uploads", "/sign-out", "/jobs/new", "/people"])
def test_what_another_page_makes_a_browser_send_is_refused(phone, origin, path):
    answer = phone.post(path, headers={"Origin": origin})
    assert (answer.status_code, answer.json()["error"]["code"]) == (403, "other_origin")


@pytest.mark.parametrize("site", [None, "cross-site", "same-site"])
def test_a_change_without_an_origin_is_refused(app, site):
    phone = Phone(app).pair()
    del phone.http.headers["Origin"]
    headers = {} if site is None else {"Sec-Fetch-Site": site}
    assert phone.post("/api/sign-out", headers=headers).status_code == 403


def test_a_browser_that_says_same_origin_without_naming_it_is_fine(app):
    phone = Phone(app).pair()
    del phone.http.headers["Origin"]
    assert phone.post("/api/sign-out", headers={"Sec-Fetch-Site": "same-origin"}).status_code == 204


# ---- sizes and speed


def test_a_form_has_its_limit_by_its_header(phone):
    answer = phone.post("/api/uploads", content=b"x" * 1_000_001)
    assert (answer.status_code, answer.json()["error"]["code"]) == (413, "too_much")


def test_an_endless_body_in_chunks_is_cut_off(app):
    """Asked below any client, with a body that has no length and no end."""
    taken, sent = [], []

    async def receive():
        taken.append(1)
        return {"type": "http.request", "body": b"x" * 100_000, "more_body": True}

    async def send(message):
        sent.append(message)

    cookie = Phone(app).pair().cookies["prepcheck_session"]
    told = {"host": "127.0.0.1", "origin": "http://127.0.0.1", "cookie": f"prepcheck_session={cookie}"}
    headers = [(name.encode(), value.encode()) for name, value in told.items()]
    scope = {"type": "http", "method": "POST", "path": "/api/sign-in", "raw_path": b"/api/sign-in", "query_string": b"",
             "headers": headers, "scheme": "http", "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 80),
             "http_version": "1.1", "root_path": ""}  # fmt: skip
    asyncio.run(app(scope, receive, send))
    assert sent[0]["status"] == 413
    assert len(taken) <= 12


def test_a_body_that_lies_about_its_length_has_the_same_limit():
    from prepcheck.web.errors import TooMuch
    from prepcheck.web.guard import Body

    async def receive():
        return {"type": "http.request", "body": b"x" * 60, "more_body": True}

    async def read():
        body = Body(receive, 100, 5.0)
        while True:
            await body.receive()

    with pytest.raises(TooMuch):
        asyncio.run(read())


def test_a_body_that_stands_still_is_given_up():
    from prepcheck.web.errors import TooSlow
    from prepcheck.web.guard import Body

    async def receive():
        await asyncio.sleep(3600)

    with pytest.raises(TooSlow):
        asyncio.run(Body(receive, 100, 0.01).receive())


def test_a_phone_that_asks_too_often_is_told_to_wait(folder, clock):
    with open_page(folder, clock=clock, limits=WebLimits(**{**vars(PATIENT), "asked": Rate(5, 60.0)})) as app:
        phone = Phone(app)
        answers = [phone.get("/api/jobs") for _ in range(7)]
    assert [answer.status_code for answer in answers] == [401] * 5 + [429] * 2
    assert answers[-1].headers["Retry-After"]


def test_a_bucket_fills_again():
    now = [0.0]
    buckets = Buckets(lambda: now[0])
    rate = Rate(2, 60.0)
    assert [buckets.wait(rate, "a") for _ in range(3)] == [0, 0, 1.0]
    now[0] = 1.0
    assert [buckets.wait(rate, "a"), buckets.wait(rate, "a")] == [0, 1.0]


def test_each_phone_has_a_bucket_of_its_own():
    buckets = Buckets(lambda: 0.0)
    rate = Rate(1, 60.0)
    assert [buckets.wait(rate, who) for who in "abab"] == [0, 0, 1.0, 1.0]


def test_any_number_of_addresses_fits_into_memory():
    buckets = Buckets(lambda: 0.0)
    for number in range(25_000):
        buckets.wait(Rate(1, 60.0), str(number))
    assert len(buckets._left) <= 10_000


# ---- headers


@pytest.mark.parametrize("path", ["/", "/api/jobs", "/static/prepcheck.css", "/nowhere", "/api/openapi.json"])
def test_every_answer_tells_the_browser_to_be_strict(phone, path):
    headers = phone.get(path).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert "server" not in headers


def test_refusals_of_the_guard_are_strict_too(phone):
    answer = phone.get("/", headers={"Host": "evil.example"})
    assert "default-src 'self'" in answer.headers["Content-Security-Policy"]


def test_what_the_log_says_is_not_kept_by_browsers(phone):
    assert phone.get("/api/jobs").headers["Cache-Control"] == "no-store"


# ---- errors


def test_an_error_is_one_body(phone):
    asked = (
        ("GET", "/api/jobs/J-9999"),
        ("GET", "/api/nowhere"),
        ("DELETE", "/api/jobs"),
        ("POST", "/api/inspections"),
    )
    for answer in (phone.request(*one) for one in asked):
        body = answer.json()
        assert set(body) == {"error"}
        assert set(body["error"]) == {"code", "message"}
        assert answer.status_code >= 400


def test_a_browser_gets_a_page_and_nothing_of_what_was_typed_becomes_html(phone):
    answer = phone.get("/jobs/<script>alert(1)<", headers={"Accept": "text/html"})
    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/html")
    assert "<script>alert" not in answer.text


def test_a_fault_of_ours_tells_nothing_of_the_inside(app, phone, monkeypatch, caplog):
    def broken(store):
        raise RuntimeError("secret path /root/x")

    monkeypatch.setattr("prepcheck.tasks.list_jobs", broken)
    answer = phone.get("/api/jobs")
    assert (answer.status_code, answer.json()["error"]["code"]) == (500, "fault")
    assert "secret" not in answer.text


def test_neither_pins_nor_tokens_are_written_to_any_log(app, caplog):
    with caplog.at_level(logging.DEBUG):
        phone = Phone(app).pair()
        phone.sign_in("Rune", "9999123")
        phone.sign_in("Rune", "8080")
        phone.get("/api/nowhere")
    written = "\n".join(record.getMessage() for record in caplog.records if record.name.startswith("prepcheck"))
    assert "9999123" not in written
    assert phone.cookies["prepcheck_session"] not in written


def test_the_schema_names_each_json_route(app, stranger):
    schema = stranger.get("/api/openapi.json").json()
    some = {"/api/uploads", "/api/uploads/{id}", "/api/inspections", "/api/work/{id}", "/api/readings/check"}
    assert some <= set(schema["paths"])
    assert all(path.startswith("/api/") for path in schema["paths"])
    assert HOME not in str(schema)
