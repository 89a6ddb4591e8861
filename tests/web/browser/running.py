"""A real server in the test's own process, and what a phone's camera hands over; photos are painted plates."""

from __future__ import annotations

import gc
import io
import threading
import time
import warnings
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import uvicorn
from PIL import Image

from prepcheck import tasks
from prepcheck.terms import State
from prepcheck.web import create_app
from tests import painted
from tests.web.browser.stand_in import PHONE
from tests.web.shop import PATIENT, SETTINGS

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Browser, BrowserContext, Page


def local_time() -> datetime:
    return datetime.now().astimezone()


def photo(*patches: Any, name: str = "IMG_0001.jpg", quality: int = 60, seed: int = 0) -> dict[str, Any]:
    file = io.BytesIO()
    plate = painted.plate(*(patches or ((State.OXIDE, 320, 240, 40),)))
    Image.fromarray(painted.paint(plate, seed)).save(file, "JPEG", quality=quality)
    return {"name": name, "mimeType": "image/jpeg", "buffer": file.getvalue()}


@dataclass
class Running:
    """A server that can be stopped and started again on the same port."""

    folder: Path
    port: int = 0
    certificate: dict[str, Any] = field(default_factory=dict)
    app: Any = None
    server: Any = None
    thread: Any = field(default=None, repr=False)
    faults: list[str] = field(default_factory=list)

    @property
    def home(self) -> str:
        return f"{'https' if self.certificate else 'http'}://127.0.0.1:{self.port}"

    def start(self) -> Running:
        self.app = create_app(self.folder, SETTINGS, limits=PATIENT, clock=local_time, make_pool=ThreadPoolExecutor)
        told = uvicorn.Config(
            self.app,
            host="127.0.0.1",
            port=self.port,
            log_level="error",
            timeout_graceful_shutdown=1,
            **self.certificate,
        )
        self.server = uvicorn.Server(told)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        end = time.monotonic() + 20
        while not self.server.started and time.monotonic() < end:
            time.sleep(0.02)
        self.port = self.server.servers[0].sockets[0].getsockname()[1]
        return self

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(10)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of connections that were cut off in the middle
            gc.collect()

    def logged(self) -> list[Any]:
        story = tasks.job_story(self.app.state.shop.store, "J-0001")
        return [one for spot in story.spots for each in spot.passes for one in each.inspections]


def signed_in(browser: Browser, running: Running) -> BrowserContext:
    """A phone on which Rune is signed in."""
    context = browser.new_context(**PHONE, ignore_https_errors=bool(running.certificate))
    context.set_default_timeout(10_000)
    link = running.app.state.shop.sessions.new_link()
    for path, json in (("pair", {"token": link}), ("sign-in", {"name": "Rune", "pin": "8080"})):
        answer = context.request.post(f"{running.home}/api/{path}", data=json, headers={"Origin": running.home})
        assert answer.ok, answer.text()
    return context


def opener(context: BrowserContext, running: Running) -> Callable[[str], Page]:
    """Return what opens a page and waits until its script is at work; a fault in a script fails the test."""

    def opened(path: str) -> Page:
        page = context.new_page()
        page.on("filechooser", lambda chooser: None)  # so that none opens before a test listens
        page.on("pageerror", lambda error: running.faults.append(str(error)))
        page.goto(running.home + path)
        page.wait_for_selector("html[data-ready]")
        return page

    return opened


def taken(page: Page, told: dict[str, Any]) -> None:
    """Tap the camera's button, and hand over the photo as the camera does after shutter and OK."""
    with page.expect_file_chooser() as chooser:
        page.locator(".camera").tap()
    chooser.value.set_files(told)
