"""A shop with its page, and phones that use it, in this process; photos are painted plates unless told otherwise."""

from __future__ import annotations

import io
import secrets
import shutil
import time
import warnings
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import datetime, timedelta, timezone

import cv2
from PIL import Image

from prepcheck import tasks
from prepcheck.settings import PeopleSettings, Settings
from prepcheck.store import NewJob
from prepcheck.terms import State
from prepcheck.web import create_app
from prepcheck.web.limits import Rate, WebLimits
from tests import painted
from tests.store.logs import copy_log

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # starlette would rather have another client than the one that it names here
    from fastapi.testclient import TestClient

HOME = "http://127.0.0.1:8473"
NOON = datetime(2026, 11, 28, 12, 0, tzinfo=timezone(timedelta(hours=1)))
QUICK_PINS = PeopleSettings(hash_passes=1, hash_memory_kib=64, hash_lanes=1)
SETTINGS = Settings(people=QUICK_PINS)
MANY = Rate(100_000, 100_000.0)
PATIENT = WebLimits(asked=MANY, signing_in=MANY, pairing=MANY, uploading=MANY)


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self):
        self.now = NOON

    def __call__(self):
        return self.now

    def move(self, **time):
        self.now += timedelta(**time)


def plate_jpeg(*patches, seed=0):
    """Return the bytes of a JPEG of a painted plate."""
    file = io.BytesIO()
    patches = patches or ((State.OXIDE, 320, 240, 40),)
    Image.fromarray(painted.paint(painted.plate(*patches), seed)).save(file, "JPEG", quality=95)
    return file.getvalue()


def two_spots():
    """Return the bytes of a JPEG of two ground spots."""
    states = painted.plate(spot=(170, 240, 110))
    cv2.circle(states, (480, 240), 110, int(State.BRIGHT), -1)
    file = io.BytesIO()
    Image.fromarray(painted.paint(states)).save(file, "JPEG", quality=95)
    return file.getvalue()


class Phone:
    """A browser: it keeps its cookies and tells where a request comes from."""

    def __init__(self, app):
        self.app = app
        self.http = TestClient(app, base_url=HOME, headers={"Origin": HOME}, raise_server_exceptions=False)

    def __getattr__(self, name):
        return getattr(self.http, name)

    def pair(self):
        token = self.app.state.shop.sessions.new_link()
        assert self.post("/api/pair", json={"token": token, "device": "a phone"}).status_code == 200
        return self

    def sign_in(self, name="Ola", pin="4711"):
        return self.post("/api/sign-in", json={"name": name, "pin": pin})

    def send(self, data, name="spot.jpg", key=None, piece=None):
        """Upload a file, in pieces if told so, and return its id."""
        key = key or secrets.token_hex(16)
        started = self.post("/api/uploads", json={"key": key, "name": name, "bytes": len(data)})
        assert started.status_code == 200, started.text
        told = started.json()
        while told["offset"] < len(data):
            part = data[told["offset"] : told["offset"] + (piece or len(data))]
            done = self.patch(
                f"/api/uploads/{told['id']}", content=part, headers={"Upload-Offset": str(told["offset"])}
            )
            assert done.status_code == 200, done.text
            told = done.json()
        return told["id"]

    def ask(self, *uploads, key=None, **more):
        """Ask for an inspection, and return the answer to that."""
        told = {"key": key or secrets.token_hex(16), "job": "J-0001", "spot": "1", "pass_no": 1, **more}
        return self.post("/api/inspections", json={**told, "uploads": list(uploads)})

    def follow(self, answer, seconds=60):
        """Wait until a work has ended, and return how."""
        assert answer.status_code == 202, answer.text
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            told = self.get(f"/api/work/{answer.json()['work']}?wait=1").json()
            if told["state"] in ("done", "failed"):
                return told
        raise AssertionError(f"still {told} after {seconds} s")

    def inspect(self, data, key=None, **more):
        """Send a photo, ask for its inspection and wait for the end."""
        return self.follow(self.ask(self.send(data), key=key, **more))


@contextmanager
def open_page(folder, *, limits=PATIENT, clock=None, settings=SETTINGS, make_pool=ThreadPoolExecutor, **more):
    """Open a page on `folder`, as a server does, and close it again."""
    app = create_app(folder, settings, limits=limits, clock=clock or Clock(), make_pool=make_pool, **more)
    with TestClient(app, base_url=HOME):
        yield app


@contextmanager
def at_work(begun, folder):
    """Copy a log that was begun, and give Rune's phone, signed in to the page on the copy."""
    shutil.copytree(begun, folder)
    copy_log(begun, folder)
    with open_page(folder) as app:
        phone = Phone(app).pair()
        phone.sign_in("Rune", "8080")
        yield phone


def new_shop(folder, clock=None):
    """Make a log with a job, and with Ola, who keeps it, Mika, who may release, and Rune, who welds."""
    store, _ = tasks.open_log(folder, SETTINGS)
    at = (clock or Clock())()
    tasks.open_job(store, NewJob("Bowser, sump"), person="Ola", at=at)
    tasks.add_person(store, "Ola", "keeper", "4711", at=at, settings=SETTINGS)
    for name, role, pin in (("Mika", "releaser", "1234"), ("Rune", "welder", "8080")):
        tasks.add_person(store, name, role, pin, by="Ola", by_pin="4711", at=at, settings=SETTINGS)
    return store
