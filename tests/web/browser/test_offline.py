"""Opening without any network: only over https with a certificate that the phone trusts; no evidence is kept by it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import Browser, BrowserContext, Page, expect

from prepcheck.web.certificate import certificates
from tests.web.browser.running import Running, local_time, opener, photo, signed_in, taken
from tests.web.shop import new_shop

PHOTO = "/jobs/J-0001/photo?spot=1"
WORKER = "navigator.serviceWorker.ready.then((it) => it.active.state)"


@pytest.fixture
def secure(tmp_path: Path) -> Iterator[Running]:
    new_shop(tmp_path / "store", local_time)
    made = certificates(tmp_path / "certificates", ["localhost"], ["127.0.0.1"], local_time())
    files = {"ssl_certfile": made.page, "ssl_keyfile": made.key}
    running = Running(tmp_path / "store", certificate=files).start()
    yield running
    running.stop()


@pytest.fixture
def trusting(launch: Callable[..., Browser], secure: Running) -> Iterator[BrowserContext]:
    """A phone that trusts the shop's certificate: here, a browser that trusts any."""
    browser = launch("--ignore-certificate-errors")
    yield signed_in(browser, secure)
    browser.close()


def prepared(context: BrowserContext, running: Running) -> Page:
    """Take a photo once, so that the worker is installed and the phone knows person and spot."""
    page = opener(context, running)(PHOTO)
    taken(page, photo())
    page.wait_for_url("**/inspections/1")
    page.evaluate(WORKER)
    return page


def test_without_any_network_the_page_opens_and_keeps_a_photo_until_there_is_one(
    trusting: BrowserContext, secure: Running
) -> None:
    page = prepared(trusting, secure)
    secure.stop()
    page.goto(f"{secure.home}/jobs/J-0001")
    expect(page.locator("h1")).to_have_text("No answer from the shop's computer")
    page.wait_for_selector("html[data-ready]")
    taken(page, photo(seed=1))
    expect(page.locator("[data-take-status]")).to_contain_text("kept on this phone")
    secure.start()
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_url("**/inspections/2", timeout=20_000)
    assert [one.person for one in secure.logged()] == ["Rune", "Rune"]


def test_the_worker_keeps_its_own_files_and_nothing_of_the_log(trusting: BrowserContext, secure: Running) -> None:
    page = prepared(trusting, secure)
    page.reload()
    page.wait_for_selector("html[data-ready]")
    kept = page.evaluate("""async () => {
        const names = await caches.keys();
        const all = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
        return all.flat().map((request) => new URL(request.url).pathname);
    }""")
    assert kept
    assert [path for path in kept if not path.startswith("/static/")] == []


def test_over_plain_http_there_is_no_worker(at_work: Callable[[str], Page]) -> None:
    page = at_work(PHOTO)
    assert page.evaluate("navigator.serviceWorker?.getRegistrations().then((all) => all.length) ?? 0") == 0
