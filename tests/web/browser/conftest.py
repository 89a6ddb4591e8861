"""A real browser, without any network: pages and answers come from the test itself."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.web.browser.stand_in import PHONE, StandIn

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import Browser, BrowserContext, Page

from tests.web.browser.running import Running, local_time, opener, signed_in
from tests.web.chromium import launcher
from tests.web.shop import new_shop


@pytest.fixture(scope="package")
def launch() -> Iterator[Callable[..., Browser]]:
    """Start Chromium without a window; skips where it is missing."""
    with launcher() as start:
        yield start


@pytest.fixture(scope="package")
def chromium(launch: Callable[..., Browser]) -> Iterator[Browser]:
    """The browser of most tests."""
    browser = launch()
    yield browser
    browser.close()


@pytest.fixture(scope="module")
def one_phone(chromium: Browser) -> Iterator[BrowserContext]:
    """A phone for a whole module, whose tests leave nothing on it."""
    context = chromium.new_context(**PHONE)
    context.set_default_timeout(8000)
    yield context
    context.close()


@pytest.fixture
def phone(chromium: Browser) -> Iterator[BrowserContext]:
    """A phone with an empty memory."""
    context = chromium.new_context(**PHONE)
    context.set_default_timeout(8000)
    yield context
    context.close()


@pytest.fixture
def shop(phone: BrowserContext) -> Iterator[StandIn]:
    """A stand-in for the shop's computer, which keeps the contract of the JSON side; no script may throw."""
    stand_in = StandIn()
    phone.route("**/*", stand_in.answer)
    yield stand_in
    assert stand_in.faults == []


@pytest.fixture
def open_page(phone: BrowserContext, shop: StandIn) -> Callable[..., Page]:
    """Open a page of the stand-in; an error in a script fails the test."""

    def opened(path: str = "/photo") -> Page:
        page = phone.new_page()
        page.on("pageerror", lambda error: shop.faults.append(str(error)))
        page.goto(f"http://shop.test{path}")
        return page

    return opened


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    """The page itself, of a shop with one job; no script may throw."""
    new_shop(tmp_path / "store", local_time)
    running = Running(tmp_path / "store").start()
    yield running
    running.stop()
    assert running.faults == []


@pytest.fixture
def at_work(chromium: Browser, running: Running) -> Iterator[Callable[[str], Page]]:
    """Open a page on a phone on which Rune is signed in."""
    context = signed_in(chromium, running)
    yield opener(context, running)
    context.close()
