"""Marking residue with a finger or keys, the layers of a marked photo, and counting with a keyboard: the true templates."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import pytest

from prepcheck.web.pages.count_point import PointPage
from prepcheck.web.pages.practice_photo import MarkPage, ShownPage
from prepcheck.web.pages.render import Frame, templates
from tests.web.browser.stand_in import StandIn

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import BrowserContext, Page, expect

from tests.web.browser import stage
from tests.web.browser.stage import on_stage

Open = Callable[..., Page]
SQUARE = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 3" width="4" height="3"><path d="M0 0h4v3H0z"/></svg>'
HERE = "/practice/1/1"
MARK = MarkPage(1, 1, 3, 4000, 3000)
SHOWN = ShownPage(
    1, 1, 3, "a", 4000, 3000, "tool", "difference", has_truth=False, lines=("x", "y"), areas=(), places=(), facts=(),
    next=2, key=(("both", "for both", "difference"), ("only-marked", "by you", "marked")),
)  # fmt: skip
POINT = PointPage("sump", 1, 2, 5, 16, 4, 4, "near", "")


@pytest.fixture
def phone(one_phone: BrowserContext) -> Iterator[BrowserContext]:
    """The same phone for all tests here, with an empty memory for each."""
    yield one_phone
    for page in one_phone.pages:
        page.wait_for_load_state()
        page.evaluate("localStorage.clear()")
        page.close()
    one_phone.unroute_all()


@pytest.fixture
def seen(open_page: Open, shop: StandIn, phone: BrowserContext) -> Callable[[str, Any], Page]:
    """Open a page as its template makes it."""
    phone.route("**/*.jpg*", lambda route: route.fulfill(body=SQUARE, content_type="image/svg+xml"))
    phone.route("**/*.png", lambda route: route.fulfill(body=SQUARE, content_type="image/svg+xml"))

    def opened(template: str, page: Any) -> Page:
        shop.pages[HERE] = templates.get_template(template).render(page=page, frame=Frame("Ola"))
        return open_page(HERE)

    return opened


@pytest.fixture
def marking(seen: Callable[[str, Any], Page]) -> Page:
    page = seen("practice_mark.html", MARK)
    page.wait_for_selector("[data-layer] canvas", state="attached")
    return page


stroke = partial(stage.stroke, steps=6)


def strokes(page: Page) -> list[dict[str, Any]]:
    value = page.locator("[data-mark-strokes]").input_value()
    return list(json.loads(value)) if value else []


def press(page: Page, hook: str) -> None:
    page.locator(f"[{hook}]").click()


def test_a_stroke_is_kept_in_full_size_pixels_with_the_brushs_width(marking: Page) -> None:
    """18 pixels of the screen, on which 4000 pixels of the photo are 360 wide, are 200 of the photo."""
    stroke(marking, (1000, 1000), (2000, 1500))
    (one,) = strokes(marking)
    assert (one["kind"], one["width"]) == ("residue", pytest.approx(200, rel=0.01))
    assert one["points"][0] == pytest.approx([1000, 1000], abs=12)
    assert one["points"][-1] == pytest.approx([2000, 1500], abs=12)


def test_a_loop_has_no_width_and_a_tap_is_none(marking: Page) -> None:
    press(marking, 'data-mark-size="0"')
    marking.mouse.click(*on_stage(marking, 500, 500))
    stroke(marking, (1000, 1000), (2000, 1000), (2000, 2000))
    (one,) = strokes(marking)
    assert (one["width"], len(one["points"])) == (None, 3)


def test_what_is_not_sure_and_what_is_wiped_off_are_strokes_of_their_own(marking: Page) -> None:
    for kind in ("unsure", "nothing"):
        press(marking, f'data-mark-kind="{kind}"')
        stroke(marking, (1000, 1000), (2000, 1500))
    assert [one["kind"] for one in strokes(marking)] == ["unsure", "nothing"]


def painted(page: Page, x: float, y: float) -> list[int]:
    """Return the colour of the canvas over a place of the photo."""
    look = """([x, y]) => { const one = document.querySelector("canvas");
      return [...one.getContext("2d").getImageData(x * one.width / 4000, y * one.height / 3000, 1, 1).data] }"""
    return list(page.evaluate(look, [x, y]))


def test_what_was_wiped_off_is_seen_no_longer(marking: Page) -> None:
    stroke(marking, (1000, 1000), (2000, 1000))
    assert painted(marking, 1500, 1000)[3] == 255
    press(marking, 'data-mark-kind="nothing"')
    stroke(marking, (1400, 1000), (1600, 1000))
    assert painted(marking, 1500, 1000)[3] == 0
    assert painted(marking, 1100, 1000)[3] == 255


def test_the_last_stroke_can_be_taken_back(marking: Page) -> None:
    stroke(marking, (1000, 1000), (2000, 1000))
    stroke(marking, (1000, 2000), (2000, 2000))
    press(marking, "data-mark-undo")
    assert [one["points"][0][1] for one in strokes(marking)] == [pytest.approx(1000, abs=12)]
    assert painted(marking, 1500, 2000)[3] == 0


def test_a_finger_that_only_looks_marks_nothing(marking: Page) -> None:
    press(marking, "data-mark-look")
    stroke(marking, (1000, 1000), (2000, 1000))
    assert strokes(marking) == []


def test_keys_mark_too(marking: Page) -> None:
    marking.locator("#stage").focus()
    for key in ("ArrowRight", " ", "ArrowDown", "ArrowDown", " "):
        marking.keyboard.press(key)
    (one,) = strokes(marking)
    (x0, y0), (x1, y1) = one["points"][0], one["points"][-1]
    assert (x0 > 2000, x1 == x0, y1 > y0) == (True, True, True)
    marking.keyboard.press("Backspace")
    assert strokes(marking) == []


def test_what_was_drawn_is_still_there_when_the_page_is_opened_again(marking: Page) -> None:
    stroke(marking, (1000, 1000), (2000, 1000))
    drawn = strokes(marking)
    marking.reload()
    marking.wait_for_selector("[data-layer] canvas", state="attached")
    assert strokes(marking) == drawn


def test_nothing_marked_is_not_sent_by_mistake(marking: Page) -> None:
    press(marking, "data-mark-done")
    expect(marking.locator("[data-mark-said]")).to_contain_text("Nothing is marked yet")
    assert marking.url.endswith(HERE)


def test_marks_are_not_thrown_away_by_saying_that_there_is_nothing(marking: Page) -> None:
    stroke(marking, (1000, 1000), (2000, 1000))
    marking.locator("summary").click()
    press(marking, "data-mark-nothing")
    expect(marking.locator("[data-mark-said]")).to_contain_text("Something is marked")
    assert marking.url.endswith(HERE)


def test_no_residue_seen_is_sent_without_strokes(marking: Page) -> None:
    marking.locator("summary").click()
    with marking.expect_request("**/mark") as sent:
        press(marking, "data-mark-nothing")
    assert sent.value.post_data == "strokes=&nothing=yes"


def test_a_press_changes_the_layer_and_its_key_without_loading(seen: Callable[[str, Any], Page]) -> None:
    page = seen("practice_photo.html", SHOWN)
    page.wait_for_selector("[data-layer] img.over", state="attached")
    page.evaluate("window.stays = true")
    page.locator('a[data-layer="marked"]').click()
    expect(page.locator("img.over")).to_have_attribute("src", f"{HERE}/tool/marked.png")
    expect(page.locator("[data-layer-key] li:visible")).to_have_text("by you")
    page.locator('a[data-layer="none"]').click()
    expect(page.locator("img.over")).to_be_hidden()
    assert page.evaluate("window.stays") is True


def test_what_was_drawn_is_forgotten_once_it_is_fixed(seen: Callable[[str, Any], Page], marking: Page) -> None:
    stroke(marking, (1000, 1000), (2000, 1000))
    page = seen("practice_photo.html", SHOWN)
    page.wait_for_selector("[data-layer] img.over", state="attached")
    page.wait_for_function(f"localStorage.getItem('mark:{HERE}') === null")


def test_a_digit_presses_its_label(seen: Callable[[str, Any], Page]) -> None:
    page = seen("count_point.html", POINT)
    page.wait_for_load_state("networkidle")
    with page.expect_request(lambda request: request.method == "POST") as sent:
        page.keyboard.press("3")
    page.wait_for_url("**/count/sump/1")
    assert sent.value.post_data == "point=5&near=near&label=3"


def test_all_labels_are_in_reach_without_scrolling(seen: Callable[[str, Any], Page]) -> None:
    page = seen("count_point.html", POINT)
    bar = page.locator(".bar").bounding_box()
    last = page.locator(".labels > :last-child").bounding_box()
    assert bar is not None
    assert last is not None
    assert last["y"] + last["height"] <= bar["y"]
