"""Every page in a real browser, in light and dark: accessible, wide enough to hit, nothing cut off, no script error."""

from __future__ import annotations

import shutil

import pytest
from PIL import Image, ImageDraw

from tests.store.logs import copy_log
from tests.web.pages import golden
from tests.web.pages.places import PAGES, fill, served
from tests.web.shop import Phone, open_page, plate_jpeg, two_spots

pytest.importorskip("playwright.sync_api")
from axe_playwright_python.sync_playwright import Axe

from tests.web.chromium import launcher, need_chromium

PHONE = {"viewport": {"width": 360, "height": 740}, "is_mobile": True, "has_touch": True}
DESK = {"viewport": {"width": 1280, "height": 900}}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
UNFOLD = "for (const one of document.querySelectorAll('details')) one.open = true"
SMALL = """() => [...document.querySelectorAll("a, button, input:not([type=hidden]), select, textarea, summary, .choice")]
  .filter((one) => !one.matches("[type=radio], [type=checkbox], .skip") && !one.matches(".caution a, .notice a:not(.button)"))
  .map((one) => [one.outerHTML.slice(0, 80), one.getBoundingClientRect()])
  .filter(([, box]) => box.width > 0 && box.height > 0 && (box.width < 56 || box.height < 56))
  .map(([html, box]) => `${html} ${Math.round(box.width)}x${Math.round(box.height)}`)"""


@pytest.fixture(scope="module")
def address(logs, tmp_path_factory):
    """Where the page of a full log is served, for Ola, who keeps it."""
    from tests import painted

    need_chromium()
    folder = tmp_path_factory.mktemp("chromium") / "store"
    shutil.copytree(logs / "2", folder)
    copy_log(logs / "2", folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("prepcheck.web.looker.load_model", lambda: painted.model())
        with open_page(folder) as app, served(app) as address:
            fill(app)
            yield address, app


@pytest.fixture(scope="module")
def chromium(address):
    with launcher() as start:
        browser = start()
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def opened(chromium, address):
    """Open pages in one browser for each look, with its faults; signed in once for all."""
    home, app = address
    looks = {}

    def page_of(screen, scheme, **more):
        key = (str(screen), scheme, str(more))
        if key not in looks:
            context = chromium.new_context(**screen, color_scheme=scheme, base_url=home, **more)
            faults = []
            context.set_default_timeout(8000)
            page = context.new_page()
            page.on("pageerror", lambda error: faults.append(str(error)))
            page.on("dialog", lambda dialog: (faults.append(f"dialog {dialog.message}"), dialog.dismiss()))
            page.on(
                "console", lambda said: faults.append(said.text) if "Content Security Policy" in said.text else None
            )
            page.goto(f"/pair/{app.state.shop.sessions.new_link()}")
            page.click("main form button")
            page.select_option("[name=name]", "Ola")
            page.fill("[name=pin]", "4711")
            page.click("button:has-text('Sign in')")
            page.wait_for_url("**/")
            looks[key] = page, faults
        return looks[key]

    return page_of


@pytest.mark.parametrize(("name", "path"), [("result", "/inspections/1"), ("jobs", "/")])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_page_looks_as_it_was_looked_at(opened, chromium, name, path, scheme):
    page, _ = opened(PHONE, scheme)
    page.goto(path, wait_until="networkidle")
    page.evaluate("document.fonts.ready")
    shot = page.screenshot(animations="disabled", caret="hide")
    golden.compare(f"{name}-{scheme}", shot, golden.made_with(chromium.version))


def test_a_line_that_is_missing_or_another_colour_is_seen():
    page = Image.new("RGB", (360, 740), "white")
    line, band = page.copy(), page.copy()
    ImageDraw.Draw(line).text((20, 100), "Grind again at the marks", "black", font_size=20)
    ImageDraw.Draw(band).rectangle((0, 0, 359, 20), "#d00")
    assert golden.changed(page, page) == 0
    assert golden.changed(page, line) > golden._SHARE
    assert golden.changed(page, band) > golden._SHARE
    assert golden.changed(page, page.resize((361, 740))) == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing_and_no_script_fails(opened, path, scheme):
    page, faults = opened(PHONE, scheme)
    page.goto(path)
    page.evaluate(UNFOLD)
    found = Axe().run(page, options={"runOnly": RULES}).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:200]) for one in found] == []
    assert faults == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_choosing_an_outline_without_a_script_is_accessible(opened, address, scheme):
    _, app = address
    phone = Phone(app).pair()
    phone.sign_in("Ola", "4711")
    work = phone.ask(phone.send(two_spots())).json()["work"]
    page, faults = opened(PHONE, scheme)
    page.goto(f"/work/{work}")
    assert page.locator("h1").inner_text() == "Which one is the spot?"
    found = Axe().run(page, options={"runOnly": RULES}).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:200]) for one in found] == []
    assert page.evaluate(SMALL) == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert faults == []


@pytest.mark.parametrize("path", PAGES)
def test_a_thumb_in_a_glove_hits_and_nothing_is_cut_off(opened, path):
    for screen in (PHONE, DESK):
        page, _ = opened(screen, "light")
        page.goto(path)
        page.evaluate(UNFOLD)
        assert page.evaluate(SMALL) == []
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


@pytest.mark.parametrize("path", ["/", "/jobs/J-0001/steps/open-up", "/inspections/1"])
def test_the_keyboard_reaches_everything_in_order_and_shows_where_it_is(opened, path):
    page, _ = opened(DESK, "light")
    page.goto(path)
    tops = []
    for step in range(12):
        page.keyboard.press("Tab")
        told = page.evaluate(
            """() => { const one = document.activeElement, style = getComputedStyle(one), box = one.getBoundingClientRect();
            const shown = one.type === "file" ? getComputedStyle(one.parentElement.querySelector("label")) : style;
            return [one.className, box.top + scrollY, shown.outlineStyle, parseFloat(shown.outlineWidth)] }"""
        )
        if step == 0:
            assert told[0] == "skip"
        assert told[2] != "none"
        assert told[3] >= 3
        tops.append(told[1])
    reading = tops[7:]  # after the skip link, the head and the bar
    assert reading == sorted(reading)


def test_the_skip_link_leads_past_the_bar(opened):
    page, _ = opened(DESK, "light")
    page.goto("/jobs/J-0001")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('main') !== null")


def test_nothing_moves_for_who_wants_that(opened):
    page, _ = opened(PHONE, "light", reduced_motion="reduce")
    page.goto("/inspections/1")
    moving = "() => document.getAnimations().length + [...document.querySelectorAll('*')]"
    assert (
        page.evaluate(f"{moving}.filter((one) => parseFloat(getComputedStyle(one).transitionDuration) > 0).length") == 0
    )


def test_from_opening_to_the_result_are_three_taps(opened, address, tmp_path):
    """The second and third tap are the camera's own: its shutter, and its word that the photo is good."""
    page, faults = opened(PHONE, "light")
    page.goto("/")
    page.wait_for_selector("html[data-ready=take]")
    button = page.locator("form[data-take] label").bounding_box()
    assert button["y"] + button["height"] < 740 - 70  # in reach without scrolling, above the bar
    with page.expect_file_chooser() as chosen:
        page.touchscreen.tap(button["x"] + button["width"] / 2, button["y"] + button["height"] / 2)
    photo = tmp_path / "camera.jpg"
    photo.write_bytes(plate_jpeg(seed=9))
    chosen.value.set_files(photo)
    page.wait_for_url("**/inspections/*")
    assert page.locator(".band .word").inner_text() == "residue left"
    assert faults == []


def test_letters_are_large(opened):
    page, _ = opened(PHONE, "light")
    page.goto("/jobs/J-0001")
    assert page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)") >= 18


def test_the_report_opens_under_the_pages_policy(opened):
    page, faults = opened(DESK, "light")
    page.goto("/jobs/J-0001/report.html")
    assert page.evaluate("getComputedStyle(document.querySelector('h2')).borderBottomStyle") == "solid"
    assert faults == []
