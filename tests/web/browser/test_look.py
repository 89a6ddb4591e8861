"""Looking closely, drawing with a finger, comparing passes, limits while a reading is typed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.web.browser.stand_in import StandIn, json_of

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import BrowserContext, Page, Route, expect

from tests.web.browser.stage import box, on_stage, stroke

Open = Callable[..., Page]

STYLE = "<link rel=stylesheet href=/static/prepcheck.css>"
RESULT = f"""<!doctype html><html lang=en><meta name=viewport content="width=device-width"><title>result</title>{STYLE}
<figure data-overlay data-width=4000 data-height=3000><div class=stage id=stage data-overlay-stage>
<img src=/p.svg alt="" width=4000 height=3000 data-overlay-photo><img class=over src=/p.svg alt="" data-overlay-marks></div>
<p><a class=button href="?marks=off" data-overlay-toggle>Hide the marks</a></p></figure>
<ul><li><a href="#stage" data-overlay-patch data-x=3000 data-y=1500>oxide 11 mm</a></ul>
<form data-draw=outline data-stage="#stage" data-width=4000 data-height=3000 action=/sent>FIELDS
<input type=checkbox name=refuse value=1></form>
<form data-draw=joint data-stage="#stage" data-width=4000 data-height=3000 data-mm-per-px=0.1 action=/sent>FIELDS
<input name=margin_mm value=25></form>
<script type=module src=/static/overlay.js></script><script type=module src=/static/draw.js></script>""".replace(
    "FIELDS",
    """<input type=hidden name=points value="" data-draw-points><button type=button hidden data-draw-start>Draw</button>
<button type=button hidden data-draw-undo>Back</button><button type=button hidden data-draw-clear>Anew</button>
<p role=status data-draw-said></p><button class=first>Send</button>""",
)
SQUARE = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 3" width="4" height="3"><path d="M0 0h4v3H0z"/></svg>'


@pytest.fixture
def phone(one_phone: BrowserContext) -> Iterator[BrowserContext]:
    """The same phone for all tests here: nothing is kept on it."""
    yield one_phone
    for page in one_phone.pages:
        page.close()
    one_phone.unroute_all()


@pytest.fixture
def result(open_page: Open, shop: StandIn, phone: BrowserContext) -> Page:
    shop.pages["/result"] = RESULT
    phone.route("**/p.svg", lambda route: route.fulfill(body=SQUARE, content_type="image/svg+xml"))
    page = open_page("/result")
    page.wait_for_selector("[data-layer] svg", state="attached")
    return page


def zoom(page: Page) -> float:
    return float(page.locator("#stage").get_attribute("data-zoom") or 0)


def drawn(page: Page, form: str) -> Any:
    value = page.locator(f"[data-draw={form}] [data-draw-points]").input_value()
    return json.loads(value) if value else []


def start(page: Page, form: str) -> None:
    page.locator(f"[data-draw={form}] [data-draw-start]").click()


class Fingers:
    """Touches of several fingers, as a screen tells them."""

    def __init__(self, page: Page) -> None:
        self.session = page.context.new_cdp_session(page)

    def __call__(self, kind: str, *places: tuple[float, float]) -> None:
        points = [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(places)]
        self.session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def test_a_press_hides_the_marks_and_another_shows_them(result: Page) -> None:
    marks, button = result.locator("[data-overlay-marks]"), result.get_by_role("button", name="Hide the marks")
    expect(marks).to_be_visible()
    button.click()
    expect(marks).to_be_hidden()
    pressed = result.get_by_role("button", name="Show the marks")
    expect(pressed).to_have_attribute("aria-pressed", "false")
    pressed.press(" ")
    expect(marks).to_be_visible()


def test_two_fingers_zoom_about_the_middle_between_them(result: Page) -> None:
    fingers = Fingers(result)
    (ax, ay), (bx, by) = on_stage(result, 1500, 1500), on_stage(result, 2500, 1500)
    fingers("touchStart", (ax, ay), (bx, by))
    fingers("touchMove", (ax - 40, ay), (bx + 40, by))
    fingers("touchEnd")
    result.wait_for_function(f"Math.abs(document.querySelector('#stage').dataset.zoom - {1 + 80 / (bx - ax)}) < 0.1")


def test_keys_zoom_move_and_show_all_again(result: Page) -> None:
    stage = result.locator("#stage")
    stage.focus()
    result.keyboard.press("+")
    assert zoom(result) == 1.5
    layer = result.locator("[data-layer]")
    before = layer.evaluate("one => one.style.transform")
    result.keyboard.press("ArrowRight")
    assert layer.evaluate("one => one.style.transform") != before
    result.keyboard.press("0")
    assert zoom(result) == 1


def test_the_wheel_zooms_and_never_beyond_the_whole(result: Page) -> None:
    result.mouse.move(*on_stage(result, 2000, 1500))
    result.mouse.wheel(0, -400)
    result.wait_for_function("document.querySelector('#stage').dataset.zoom > 2")
    result.mouse.wheel(0, 4000)
    result.wait_for_function("document.querySelector('#stage').dataset.zoom === '1.00'")


def test_a_place_in_the_list_is_brought_to_the_middle(result: Page) -> None:
    result.locator("[data-overlay-patch]").click()
    assert zoom(result) == 4
    stage = result.locator("#stage")
    middle = stage.evaluate(
        """async (stage) => {
        const { viewOf } = await import("/static/view.js");
        return viewOf(stage).toPhoto({ x: stage.clientWidth / 2, y: stage.clientHeight / 2 });
    }"""
    )
    assert (middle["x"], middle["y"]) == (pytest.approx(3000, abs=20), pytest.approx(1500, abs=20))
    expect(stage).to_be_focused()


def test_an_outline_drawn_with_a_finger_is_in_full_size_pixels(result: Page) -> None:
    start(result, "outline")
    stroke(result, (1000, 1000), (3000, 1000), (3000, 2000), (1000, 2000), (1000, 1050))
    points = drawn(result, "outline")
    assert 4 <= len(points) <= 8
    for corner in ((1000, 1000), (3000, 1000), (3000, 2000), (1000, 2000)):
        assert min(abs(x - corner[0]) + abs(y - corner[1]) for x, y in points) < 60


def test_under_zoom_a_finger_draws_finer(result: Page) -> None:
    result.mouse.move(*on_stage(result, 2000, 1500))
    result.mouse.wheel(0, -600)
    result.wait_for_function("document.querySelector('#stage').dataset.zoom > 3")
    start(result, "joint")
    stage = box(result)
    middle = (stage["x"] + stage["width"] / 2, stage["y"] + stage["height"] / 2)
    result.mouse.click(*middle)
    result.mouse.click(middle[0] + 40, middle[1])
    (x0, _), (x1, _) = drawn(result, "joint")
    assert x1 - x0 == pytest.approx(40 * 4000 / stage["width"] / zoom(result), rel=0.02)


def test_each_stroke_can_be_taken_back(result: Page) -> None:
    start(result, "joint")
    stroke(result, (500, 1500), (1500, 1500))
    stroke(result, (2000, 1500), (3000, 1500))
    both = drawn(result, "joint")
    result.locator("[data-draw=joint] [data-draw-undo]").click()
    assert drawn(result, "joint") == both[:2]
    result.locator("[data-draw=joint] [data-draw-clear]").click()
    assert drawn(result, "joint") == []
    expect(result.locator("[data-draw=joint] [data-draw-undo]")).to_be_hidden()


def test_a_second_finger_zooms_and_draws_nothing(result: Page) -> None:
    start(result, "joint")
    fingers = Fingers(result)
    (ax, ay), (bx, by) = on_stage(result, 1500, 1500), on_stage(result, 2500, 1500)
    fingers("touchStart", (ax, ay))
    fingers("touchStart", (ax, ay), (bx, by))
    fingers("touchMove", (ax - 40, ay), (bx + 40, by))
    fingers("touchEnd")
    result.wait_for_function("document.querySelector('#stage').dataset.zoom > 1.5")
    assert drawn(result, "joint") == []


def test_a_joint_line_is_drawn_with_keys_alone(result: Page) -> None:
    result.locator("[data-draw=joint] [data-draw-start]").press("Enter")
    expect(result.locator("#stage")).to_be_focused()
    result.keyboard.press("Space")
    for _ in range(4):
        result.keyboard.press("Shift+ArrowRight")
    result.keyboard.press("Enter")
    (x0, y0), (x1, y1) = drawn(result, "joint")
    assert (x0, y0) == (pytest.approx(2000, abs=10), pytest.approx(1500, abs=10))
    assert x1 > x0 + 500
    assert y1 == y0
    result.keyboard.press("Backspace")
    assert len(drawn(result, "joint")) == 1


def test_what_is_no_outline_is_not_sent(result: Page) -> None:
    start(result, "outline")
    stroke(result, (1000, 1000), (1500, 1000))
    result.locator("[data-draw=outline] .first").click()
    expect(result.locator("[data-draw=outline] [data-draw-said]")).to_have_text("Draw once round the ground spot.")
    assert "/sent" not in result.url


def test_an_outline_that_crosses_itself_is_not_sent(result: Page) -> None:
    start(result, "outline")
    for place in ((1000, 1000), (3000, 2000), (3000, 1000), (1000, 2000)):
        stroke(result, place)
    result.locator("[data-draw=outline] .first").click()
    expect(result.locator("[data-draw=outline] [data-draw-said]")).to_contain_text("crosses itself")


def test_an_outline_can_be_refused_without_drawing_one(result: Page) -> None:
    result.locator("[name=refuse]").check()
    result.locator("[data-draw=outline] .first").click()
    result.wait_for_url("**/sent?*refuse=1*")


def test_a_line_is_sent_with_the_form(result: Page) -> None:
    start(result, "joint")
    stroke(result, (500, 1500), (3500, 1500))
    result.locator("[data-draw=joint] .first").click()
    result.wait_for_url("**/sent?points=%5B%5B*")


def test_the_margin_is_shown_as_wide_as_the_scale_says(result: Page) -> None:
    start(result, "joint")
    stroke(result, (500, 1500), (3500, 1500))
    band = result.locator("[data-layer] svg").nth(1).locator("polyline").first
    assert band.evaluate("one => one.style.strokeWidth") == "500px"  # 2 x 25 mm at 0.1 mm a pixel
    result.locator("[name=margin_mm]").fill("10")
    assert band.evaluate("one => one.style.strokeWidth") == "200px"


@pytest.fixture(scope="module")
def lines(chromium: Any) -> Any:
    """A page with the lines' own module, to ask it many times."""
    context = chromium.new_context()
    context.route("**/*", StandIn().answer)
    page = context.new_page()
    page.goto("http://shop.test/empty")
    page.evaluate("import('/static/line.js').then((all) => Object.assign(window, all))")
    yield page
    context.close()


PLACES = st.lists(st.fixed_dictionaries({"x": st.integers(0, 200), "y": st.integers(0, 200)}), min_size=2, max_size=40)


@given(PLACES, st.integers(1, 30))
@settings(max_examples=25)
def test_a_simple_line_keeps_its_ends_and_moves_no_place_further_than_told(lines: Page, line: Any, most: int) -> None:
    kept = lines.evaluate("([line, most]) => simple(line, most)", [line, most])
    assert (kept[0], kept[-1]) == (line[0], line[-1])
    far = lines.evaluate(
        """([line, kept]) => Math.max(...line.map((at) => Math.min(...kept.slice(1).map((to, k) => distance(at, kept[k], to)),
            kept.length < 2 ? Math.hypot(at.x - kept[0].x, at.y - kept[0].y) : Infinity)))""",
        [line, kept],
    )
    assert far <= most + 1e-9


def test_the_area_of_a_known_outline(lines: Page) -> None:
    corners = [{"x": 0, "y": 0}, {"x": 4, "y": 0}, {"x": 4, "y": 3}]  # half of 4 x 3
    assert lines.evaluate("(line) => area(line)", corners) == 6


PAIR = f"""<!doctype html><html lang=en><title>spot</title>{STYLE}
<div class=pair data-slider data-laid={{laid}}><figure><img src=/p.svg alt=a data-slider-a></figure>
<figure><img src=/p.svg alt=b data-slider-b></figure>
<label hidden data-slider-label>later <input type=range min=0 max=100 value=50 data-slider-range></label></div>
<script type=module src=/static/slider.js></script>"""


def pair(open_page: Open, shop: StandIn, phone: BrowserContext, laid: str) -> Page:
    shop.pages["/pair"] = PAIR.replace("{laid}", laid)
    phone.route("**/p.svg", lambda route: route.fulfill(body=SQUARE, content_type="image/svg+xml"))
    page = open_page("/pair")
    page.wait_for_load_state("networkidle")
    return page


def test_the_slider_shows_as_much_of_the_later_pass_as_it_says(
    open_page: Open, shop: StandIn, phone: BrowserContext
) -> None:
    page = pair(open_page, shop, phone, "yes")
    page.locator("[data-slider-range]").focus()
    page.keyboard.press("Home")
    clip = page.locator("[data-slider-b]")
    assert clip.evaluate("one => one.style.clipPath") == "inset(0px 0px 0px 100%)"
    page.keyboard.press("End")
    assert clip.evaluate("one => one.style.clipPath") == "inset(0px 0px 0px 0%)"


def test_photos_that_do_not_lie_on_each_other_stay_side_by_side(
    open_page: Open, shop: StandIn, phone: BrowserContext
) -> None:
    page = pair(open_page, shop, phone, "no")
    expect(page.locator("[data-slider-range]")).to_be_hidden()
    expect(page.locator(".pair figure")).to_have_count(2)


READINGS = """<!doctype html><html lang=en><title>readings</title>
<form data-limits=/api/readings/check data-job=J-0001><input name=lel_percent><input name=oxygen_percent>
<div role=status data-limits-said></div></form><script type=module src=/static/limits.js></script>"""


@pytest.fixture
def typing(open_page: Open, shop: StandIn) -> tuple[Page, list[Any]]:
    asked: list[Any] = []

    def check(route: Route) -> None:
        asked.append(route.request.post_data_json)
        level = asked[-1]["readings"].get("lel_percent", 0)
        json_of(route, {"remarks": [{"weight": "hold", "text": f"{level:g} % of the limit", "source": "a source"}]})

    shop.pages["/readings"] = READINGS
    shop.fail["POST /api/readings"] = check
    return open_page("/readings"), asked


def test_limits_are_said_while_a_reading_is_typed(typing: tuple[Page, list[Any]]) -> None:
    page, asked = typing
    page.locator("[name=lel_percent]").press_sequentially("12,5", delay=20)
    expect(page.locator("[data-limits-said] .hold")).to_contain_text("12.5 % of the limit")
    assert asked == [{"job": "J-0001", "readings": {"lel_percent": 12.5}}]


def test_without_an_answer_the_limits_are_not_made_up(typing: tuple[Page, list[Any]], shop: StandIn) -> None:
    page, _ = typing
    shop.away = True
    page.locator("[name=lel_percent]").fill("3")
    expect(page.locator("[data-limits-said]")).to_contain_text("cannot be looked up now")
