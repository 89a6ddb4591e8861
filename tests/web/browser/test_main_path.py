"""The page itself in a browser: from signing in to knowing where to grind, over bad networks too.

A real server in this process, a painted plate instead of the model; what a phone's camera hands over comes from a file
chooser. No real phone: Chromium with a phone's screen.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest

from prepcheck.terms import State
from tests.web.browser.stand_in import PHONE

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import Browser, Page, expect

from tests.web.browser.running import Running, photo, taken

WIDTH = PHONE["viewport"]["width"]


def test_from_pairing_to_the_result_by_hand(chromium: Browser, running: Running) -> None:
    page = chromium.new_context(**PHONE).new_page()
    page.goto(f"{running.home}/pair/{running.app.state.shop.sessions.new_link()}")
    page.get_by_role("button", name="Use this phone").tap()
    page.get_by_label("Name").select_option("Rune")
    page.get_by_label("PIN").fill("8080")
    with page.expect_navigation(url=f"{running.home}/"):
        page.get_by_role("button", name="Sign in").tap()
    page.goto(f"{running.home}/jobs/J-0001/photo?spot=1")
    page.wait_for_selector("html[data-ready]")
    taken(page, photo())
    page.wait_for_url("**/inspections/1")
    expect(page.locator(".band .word")).to_have_text("residue left")
    expect(page.locator(".next-step")).not_to_be_empty()
    page.context.close()


def test_three_taps_from_the_first_page_to_where_to_grind(at_work: Callable[[str], Page], running: Running) -> None:
    first = at_work("/jobs/J-0001/photo?spot=1")
    taken(first, photo())
    first.wait_for_url("**/inspections/1")
    page = at_work("/")
    page.evaluate("document.addEventListener('click', (event) => event.isTrusted && sessionStorage.setItem('taps', 1))")
    started = time.monotonic()
    taken(
        page, photo((State.OXIDE, 300, 200, 30), seed=1)
    )  # tap 1 here; shutter and OK in the phone's camera: taps 2, 3
    page.wait_for_url("**/inspections/2")
    expect(page.locator("[data-overlay-marks]")).to_be_visible()
    expect(page.locator("[data-overlay-patch]").first).to_contain_text("oxide")
    assert time.monotonic() - started < 8
    assert [one.standing for one in running.logged()] == ["residue left", "residue left"]


def test_the_first_page_is_light_on_the_wire(at_work: Callable[[str], Page]) -> None:
    """At most 150 KB, all that Chromium loads for it, by its own count; nothing kept from before."""
    page = at_work("/")
    wire = page.context.new_cdp_session(page)
    bytes_of: dict[str, float] = {}
    wire.on("Network.loadingFinished", lambda told: bytes_of.update({told["requestId"]: told["encodedDataLength"]}))
    wire.send("Network.enable")
    wire.send("Network.setCacheDisabled", {"cacheDisabled": True})
    page.reload(wait_until="networkidle")
    assert len(bytes_of) > 8  # the page, its style, its scripts and signs
    assert 10_000 < sum(bytes_of.values()) <= 150_000


def test_the_result_fits_a_narrow_screen(at_work: Callable[[str], Page]) -> None:
    page = at_work("/jobs/J-0001/photo?spot=1")
    for _ in range(2):
        assert page.evaluate("document.documentElement.scrollWidth") <= WIDTH
        button = page.locator(".camera").bounding_box()
        assert button is not None
        assert min(button["width"], button["height"]) >= 56
        if "inspections" not in page.url:
            taken(page, photo())
            page.wait_for_url("**/inspections/1")


def test_a_photo_taken_offline_is_sent_when_the_network_is_back(
    at_work: Callable[[str], Page], running: Running
) -> None:
    page = at_work("/jobs/J-0001/photo?spot=1")
    page.context.set_offline(True)
    taken(page, photo())
    expect(page.locator("[data-take-status]")).to_contain_text("kept on this phone")
    assert running.logged() == []
    page.context.set_offline(False)
    page.wait_for_url("**/inspections/1")
    assert len(running.logged()) == 1


def test_a_server_killed_in_the_middle_of_an_upload_gets_the_rest_later(
    at_work: Callable[[str], Page], running: Running
) -> None:
    page = at_work("/jobs/J-0001/photo?spot=1")
    big = photo(quality=100)
    big["buffer"] += b"\0" * (5_000_000 - len(big["buffer"]))  # what follows a JPEG's end is not read
    pieces: list[str] = []

    def second_piece_meets_nobody(route: Any) -> None:
        pieces.append(route.request.headers["upload-offset"])
        if len(pieces) == 2:
            running.stop()
        route.continue_()

    page.route("**/api/uploads/*", second_piece_meets_nobody)
    taken(page, big)
    expect(page.locator("[data-take-status]")).to_contain_text("No answer from the shop's computer")
    assert running.logged() == []
    running.start()
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_url("**/inspections/1", timeout=20_000)
    assert pieces.count("0") == 1
    assert len(running.logged()) == 1


def test_a_phone_that_dies_in_the_middle_of_an_upload_goes_on_after_its_start(
    at_work: Callable[[str], Page], running: Running
) -> None:
    page = at_work("/jobs/J-0001/photo?spot=1")
    page.route("**/api/inspections", lambda route: route.abort())
    taken(page, photo())
    expect(page.locator("[data-take-status]")).to_contain_text("No answer")
    page.close(run_before_unload=False)
    again = at_work("/jobs/J-0001/photo?spot=1")
    again.locator("[data-take-queue] a.go").tap(timeout=20_000)
    again.wait_for_url("**/inspections/1")
    assert len(running.logged()) == 1


def test_the_same_photo_sent_twice_is_logged_once(at_work: Callable[[str], Page], running: Running) -> None:
    page = at_work("/jobs/J-0001/photo?spot=1")
    asked: list[Any] = []

    def answer_is_lost(route: Any) -> None:
        asked.append(route.request.post_data_json["key"])
        if len(asked) == 1:
            route.fetch()
            route.abort()
        else:
            route.continue_()

    page.route("**/api/inspections", answer_is_lost)
    taken(page, photo())
    page.wait_for_url("**/inspections/1")
    assert len(asked) == 2
    assert len(set(asked)) == 1
    assert len(running.logged()) == 1


def test_over_a_slow_network_the_photo_arrives_and_says_how_far_it_is(
    at_work: Callable[[str], Page], running: Running
) -> None:
    page = at_work("/jobs/J-0001/photo?spot=1")
    slow = {"offline": False, "latency": 400, "downloadThroughput": 50_000, "uploadThroughput": 50_000}
    page.context.new_cdp_session(page).send("Network.emulateNetworkConditions", slow)
    told = photo(quality=75)
    assert len(told["buffer"]) > 50_000
    taken(page, told)
    expect(page.locator("[data-take-status]")).to_contain_text("Sending")
    expect(page.locator("[data-take-progress]")).to_be_visible()
    page.wait_for_url("**/inspections/1", timeout=20_000, wait_until="commit")
    assert len(running.logged()) == 1


def test_the_keyboard_alone_takes_a_photo_and_hides_the_marks(at_work: Callable[[str], Page]) -> None:
    page = at_work("/jobs/J-0001/photo?spot=1")
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.type") == "file":
            break
    with page.expect_file_chooser() as chooser:
        page.keyboard.press("Enter")
    chooser.value.set_files(photo())
    page.wait_for_url("**/inspections/1")
    page.wait_for_selector("html[data-ready]")
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.dataset.overlayToggle") == "":
            break
    page.keyboard.press("Enter")
    expect(page.locator("[data-overlay-marks]")).to_be_hidden()


def test_a_joint_line_drawn_on_the_page_is_judged_and_logged(at_work: Callable[[str], Page], running: Running) -> None:
    page = at_work("/jobs/J-0001/photo?spot=1")
    taken(page, photo((State.OXIDE, 320, 240, 5)))
    page.wait_for_url("**/inspections/1")
    page.wait_for_selector("html[data-ready]")
    expect(page.locator(".band .word")).to_have_text("bright")
    page.get_by_text("Draw the joint line").tap()
    page.locator("[data-draw=joint] [data-draw-start]").tap()
    stage = page.locator("#stage")
    stage.scroll_into_view_if_needed()
    box = stage.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 0.5 * box["height"])
    page.mouse.down()
    page.mouse.move(box["x"] + 0.7 * box["width"], box["y"] + 0.5 * box["height"], steps=15)
    page.mouse.up()
    page.get_by_role("button", name="Look again with this joint").tap()
    page.wait_for_url("**/inspections/2")
    expect(page.locator(".band .word")).to_have_text("residue left")
    expect(page.get_by_text("touches the joint line").first).to_be_visible()
    assert [str(one.standing) for one in running.logged()] == ["bright", "residue left"]


def test_a_spot_drawn_with_a_finger_is_scored_beside_the_answer(at_work: Callable[[str], Page]) -> None:
    page = at_work("/jobs/J-0001/photo?spot=1")
    taken(page, photo())
    page.wait_for_url("**/inspections/1")
    page.wait_for_selector("html[data-ready]")
    page.get_by_text("The outline is wrong").tap()
    page.locator("[data-draw=outline] [data-draw-start]").tap()
    stage = page.locator("#stage")
    stage.scroll_into_view_if_needed()
    box = stage.bounding_box()
    assert box is not None
    corners = [(0.35, 0.35), (0.45, 0.35), (0.45, 0.45), (0.35, 0.45)]  # inside the spot, beside its patch
    for x, y in corners:
        page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])
    page.get_by_label("Why, in your words").nth(1).fill("only this part was ground")
    page.get_by_role("button", name="Look again with this outline").tap()
    page.wait_for_url("**/inspections/2")
    expect(page.locator(".notice").first).to_contain_text("With outlines changed by a person")


def test_no_evidence_is_left_in_the_phones_caches(at_work: Callable[[str], Page]) -> None:
    page = at_work("/jobs/J-0001/photo?spot=1")
    taken(page, photo())
    page.wait_for_url("**/inspections/1")
    assert page.evaluate("typeof caches === 'undefined' ? [] : caches.keys()") == []
    kept = page.evaluate("import('/static/box.js').then((b) => b.openBox()).then((box) => box.all())")
    assert [shot["pieces"] for shot in kept] == [[] for _ in kept]
