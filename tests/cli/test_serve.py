"""``prepcheck serve``: as a person starts it, with the model that ships, and as it is killed."""

from __future__ import annotations

import json
import os
import random
import secrets
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import closing, contextmanager

import httpx
import pytest

from prepcheck import tasks
from prepcheck.errors import WrongUse
from prepcheck.resources import folder as resources
from prepcheck.store import NewJob
from tests.web.shop import SETTINGS, Clock

PHOTO = resources("sample_images") / "clean-torch.jpg"


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as door:
        return door.getsockname()[1]


@contextmanager
def serving(store, port, *more):
    """Start the page in a process of its own, and give what it printed."""
    command = [sys.executable, "-m", "prepcheck", "serve", "--store", str(store), "--port", str(port), "--json", *more]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as server:
        try:
            yield server, json.loads(server.stdout.readline())
        finally:
            server.terminate()


class Wire:
    """A phone on the network: it tries again while the server is away."""

    def __init__(self, home):
        self.http = httpx.Client(base_url=home, headers={"Origin": home}, timeout=20)

    def ask(self, method, path, **more):
        end = time.monotonic() + 60
        while time.monotonic() < end:
            try:
                return self.http.request(method, path, **more)
            except httpx.TransportError:
                time.sleep(0.05)
        raise AssertionError("the server does not answer")

    def until(self, work, states):
        end = time.monotonic() + 60
        while time.monotonic() < end:
            told = self.ask("GET", f"/api/work/{work}").json()
            if told["state"] in states:
                return told
            time.sleep(0.02)
        raise AssertionError(told)


def test_a_photo_is_logged_once_though_the_server_is_killed_while_it_looks(tmp_path, request):
    store, _ = tasks.open_log(tmp_path, SETTINGS)
    tasks.open_job(store, NewJob("Bowser, sump"), person="Ola", at=Clock()())
    port, photo, key = free_port(), PHOTO.read_bytes(), secrets.token_hex(8)
    phone = Wire(f"http://127.0.0.1:{port}")
    request.addfinalizer(phone.http.close)
    with serving(tmp_path, port) as (server, told):
        phone.ask("POST", "/api/pair", json={"token": told["pair"].rsplit("/", 1)[1]})
        assert phone.ask("POST", "/api/sign-in", json={"name": "Ola", "pin": "471100"}).json()["role"] == "keeper"
        upload = phone.ask("POST", "/api/uploads", json={"key": key, "name": "a.jpg", "bytes": len(photo)}).json()["id"]
        half = len(photo) // 2
        phone.ask("PATCH", f"/api/uploads/{upload}", content=photo[:half], headers={"Upload-Offset": "0"})
        os.kill(server.pid, signal.SIGKILL)
    with serving(tmp_path, port) as (server, _):
        assert phone.ask("GET", f"/api/uploads/{upload}").json()["offset"] == half
        phone.ask("PATCH", f"/api/uploads/{upload}", content=photo[half:], headers={"Upload-Offset": str(half)})
        asked = {"key": key, "uploads": [upload], "job": "J-0001", "spot": "1", "pass_no": 1}
        work = phone.ask("POST", "/api/inspections", json=asked).json()["work"]
        phone.until(work, ("running", "done"))
        os.kill(server.pid, signal.SIGKILL)
    with serving(tmp_path, port):
        assert phone.until(work, ("done", "failed"))["inspection"] == 1
        assert phone.ask("POST", "/api/inspections", json=asked).json()["work"] == work
    (spot,) = tasks.job_story(store, "J-0001").spots
    assert [len(each.inspections) for each in spot.passes] == [1]


def sent(phone, photo, key):
    """Send a photo from wherever it stands, as a phone does, and return the inspection."""
    upload = phone.post("/api/uploads", json={"key": key, "name": "a.jpg", "bytes": len(photo)}).json()
    while upload["offset"] < len(photo):
        at = upload["offset"]
        headers = {"Upload-Offset": str(at)}
        upload = phone.patch(f"/api/uploads/{upload['id']}", content=photo[at : at + 8000], headers=headers).json()
    asked = {"key": key, "uploads": [upload["id"]], "job": "J-0001", "spot": "1", "pass_no": 1}
    work = phone.post("/api/inspections", json=asked).json()["work"]
    while (told := phone.get(f"/api/work/{work}", params={"wait": 1}).json())["state"] not in ("done", "failed"):
        pass
    return told["inspection"]


@contextmanager
def awake(store, port):
    """Start the page and wait until it answers; give it, and a way to it."""
    with serving(store, port) as (server, told), closing(Wire(f"http://127.0.0.1:{port}").http) as way:
        end = time.monotonic() + 60
        while time.monotonic() < end:
            try:
                way.get("/help")
                break
            except httpx.TransportError:
                time.sleep(0.05)
        yield server, told


@pytest.mark.nightly
def test_wherever_the_server_is_killed_each_photo_is_logged_once(tmp_path, request):
    """26 kills at moments drawn at random, over sending, looking and logging of as many photos as that lets through."""
    store, _ = tasks.open_log(tmp_path, SETTINGS)
    tasks.open_job(store, NewJob("Bowser, sump"), person="Ola", at=Clock()())
    port, draw, photo, logged = free_port(), random.Random(26), PHOTO.read_bytes(), []
    phone = Wire(f"http://127.0.0.1:{port}").http
    request.addfinalizer(phone.close)

    def next_one():
        data = photo + bytes([len(logged)])  # a byte behind its end makes it another photo
        logged.append(sent(phone, data, f"photo-{len(logged):04d}"))

    def send_on():
        while True:
            next_one()

    with awake(tmp_path, port) as (_, told):
        assert phone.post("/api/pair", json={"token": told["pair"].rsplit("/", 1)[1]}).status_code == 200
        assert phone.post("/api/sign-in", json={"name": "Ola", "pin": "471100"}).status_code == 200
    for _ in range(26):
        with awake(tmp_path, port) as (server, _):
            killing = threading.Timer(draw.uniform(0.0, 3.0), server.kill)
            killing.start()
            with pytest.raises(httpx.TransportError):
                send_on()
            killing.join()
    with awake(tmp_path, port):
        next_one()
    numbers = [one.number for one in tasks.job_story(store, "J-0001").inspections]
    assert logged == sorted(numbers) == list(range(1, len(logged) + 1))


def test_a_port_that_somebody_has_is_told():
    from prepcheck.cli.serve import _door

    with socket.create_server(("127.0.0.1", 0)) as door, pytest.raises(WrongUse, match="Choose another with --port"):
        _door("127.0.0.1", door.getsockname()[1])


@pytest.mark.skipif(not socket.has_ipv6, reason="no IPv6 on this machine")
def test_with_lan_nobody_comes_in_by_ipv6():
    from prepcheck.cli.serve import _door

    with _door("0.0.0.0", free_port()) as door, socket.socket(socket.AF_INET6) as way:
        door.listen()
        assert way.connect_ex(("::1", door.getsockname()[1])) != 0


def test_without_lan_only_this_computer_can_open_the_page():
    from prepcheck.cli.serve import _door

    with _door("127.0.0.1", free_port()) as door:
        assert door.getsockname()[0] == "127.0.0.1"


def test_a_computer_without_a_network_cannot_serve_phones(command, monkeypatch):
    monkeypatch.setattr("prepcheck.web.lan.addresses", list)
    done = command("serve", "--lan")
    assert (done.code, done.out) == (2, "")
    assert "is in no network" in done.complaint


def test_https_is_refused_for_an_address_that_the_authority_may_not_vouch_for(command, monkeypatch):
    monkeypatch.setattr("prepcheck.web.lan.addresses", lambda: ["93.184.216.34"])
    done = command("serve", "--lan", "--https")
    assert done.code == 2
    assert "93.184.216.34" in done.complaint


def started(command, monkeypatch, *options):
    """Run the command up to the point where it would serve."""
    monkeypatch.setattr("prepcheck.web.lan.addresses", lambda: ["192.168.1.5"])
    monkeypatch.setattr("prepcheck.cli.serve._run", lambda app, door, files: door.close())
    done = command("serve", "--port", str(free_port()), *options)
    assert done.code == 0, done.err
    return done.out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), ["http://127.0.0.1:", "Only this computer", "does not guard a copy"]),
        (("--lan",), ["http://192.168.1.5:", "can read along", "by IPv4 alone", "█"]),
        (
            ("--lan", "--https"),
            ["https://192.168.1.5:", "private addresses only", "by IPv4 alone", "Compare this number"],
        ),
    ],
)
def test_it_says_where_the_page_is_and_what_that_means(command, monkeypatch, options, said):
    out = started(command, monkeypatch, *options)
    assert [words for words in said if words not in out] == []


def test_the_link_is_printed_as_json_too(command, monkeypatch):
    told = json.loads(started(command, monkeypatch, "--lan", "--https", "--json"))
    assert told["pair"].startswith(told["address"] + "/pair/")
    assert len(told["authority_sha256"].split(":")) == 32
