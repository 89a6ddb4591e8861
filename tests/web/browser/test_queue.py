"""Photos wait on the phone until the log has them: nothing is lost, nothing is logged twice, the order is kept.

Against a stand-in for the shop's computer, so that each fault happens when the test says.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.web.browser.stand_in import StandIn, json_of, photo

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import BrowserContext, Page, Route, expect

Open = Callable[..., Page]


def choose(page: Page, *files: dict[str, Any]) -> None:
    page.locator("[data-take-files]").set_input_files(list(files))


def status(page: Page) -> Any:
    return page.locator("[data-take-status]")


def ready(page: Page) -> Page:
    page.wait_for_selector("html[data-ready]")
    return page


def test_a_photo_is_sent_whole_in_pieces_and_its_result_is_shown(open_page: Open, shop: StandIn) -> None:
    page = ready(open_page())
    choose(page, photo(size=1_300_001, fill=b"\x07"))
    page.wait_for_url("**/inspections/1")
    (upload,) = shop.uploads.values()
    assert (upload["name"], upload["bytes"]) == ("IMG_1.jpg", 1_300_001)
    assert upload["data"] == b"\x07" * 1_300_001
    assert sum(line.startswith("PATCH") for line in shop.requests) >= 2
    (told,) = shop.logged
    assert (told["kind"], told["job"], told["spot"], told["pass_no"]) == ("photo", "J-0001", "1", 2)


def test_a_photo_that_was_chosen_before_the_script_came_is_sent_too(
    open_page: Open, shop: StandIn, phone: BrowserContext
) -> None:
    held: list[Route] = []
    phone.route("**/take.js", lambda route: held.append(route))
    page = phone.new_page()
    page.goto("http://shop.test/photo", wait_until="commit")
    choose(page, photo())
    held[0].fallback()
    page.wait_for_url("**/inspections/1")


def test_a_photo_waits_for_a_field_that_is_missing(open_page: Open, shop: StandIn) -> None:
    page = ready(open_page())
    page.locator("[name=spot]").evaluate("field => { field.required = true; field.value = ''; }")
    choose(page, photo())
    assert shop.requests == []
    page.locator("[name=spot]").fill("2")
    page.locator("[name=spot]").blur()
    page.wait_for_url("**/inspections/1")
    assert [told["spot"] for told in shop.logged] == ["2"]


def test_while_the_shop_is_away_the_photo_is_kept_and_then_sent(open_page: Open, shop: StandIn) -> None:
    shop.away = True
    page = ready(open_page())
    choose(page, photo())
    expect(status(page)).to_contain_text("No answer from the shop's computer. The photo is kept on this phone")
    assert shop.logged == []
    shop.away = False
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_url("**/inspections/1")
    assert len(shop.logged) == 1


def test_photos_taken_while_away_are_sent_in_the_order_they_were_taken(open_page: Open, shop: StandIn) -> None:
    shop.away = True
    page = ready(open_page())
    for number in (1, 2, 3):
        choose(page, photo(f"{number}.jpg", size=1000))
        expect(page.locator("[data-take-queue] > li")).to_have_count(number)
    shop.away = False
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_url("**/inspections/3")
    names = [shop.uploads[told["uploads"][0]]["name"] for told in shop.logged]
    assert names == ["1.jpg", "2.jpg", "3.jpg"]


def dies_at(shop: StandIn, page: Page, piece: int) -> list[int]:
    """Close the page, as a dead battery does, when piece number `piece` of an upload comes."""
    sizes: list[int] = []

    def die(route: Route) -> bool | None:
        sizes.append(int(route.request.headers["upload-offset"]))
        if len(sizes) == piece:
            route.abort()
            return None
        return False

    shop.fail["PATCH /"] = die
    return sizes


def test_after_a_dead_battery_the_upload_goes_on_where_it_stopped(open_page: Open, shop: StandIn) -> None:
    page = ready(open_page())
    dies_at(shop, page, 2)
    choose(page, photo(size=1_300_000))
    expect(status(page)).to_contain_text("No answer")
    page.close(run_before_unload=False)
    shop.fail.clear()
    (upload,) = shop.uploads.values()
    there = len(upload["data"])
    assert 0 < there < 1_300_000
    shop.requests.clear()
    ready(open_page()).wait_for_selector("[data-take-queue] a.go", timeout=20_000)
    assert len(upload["data"]) == 1_300_000
    assert (len(shop.uploads), len(shop.logged)) == (1, 1)


def test_an_answer_that_is_lost_on_the_way_back_logs_nothing_twice(open_page: Open, shop: StandIn) -> None:
    lost = []

    def lose(route: Route) -> bool | None:
        if lost:
            return False
        lost.append(1)
        shop.logged.append(route.request.post_data_json)
        route.abort()
        return None

    shop.fail["POST /api/inspections"] = lose
    page = ready(open_page())
    choose(page, photo())
    page.wait_for_url("**/inspections/1", timeout=10_000)
    assert len(shop.logged) == 1
    assert sum(line == "POST /api/inspections" for line in shop.requests) == 2


def test_two_open_pages_send_a_photo_once(open_page: Open, shop: StandIn, phone: BrowserContext) -> None:
    shop.away = True
    one, two = ready(open_page()), ready(open_page())
    choose(one, photo(size=100_000))
    expect(one.locator("[data-take-queue] > li")).to_have_count(1)
    shop.away = False
    for page in (one, two):
        page.evaluate("dispatchEvent(new Event('online'))")
    one.wait_for_url("**/inspections/1")
    assert sum(line.startswith("PATCH") for line in shop.requests) <= 2
    assert len(shop.logged) == 1


def test_an_offset_that_does_not_fit_is_asked_for(open_page: Open, shop: StandIn) -> None:
    done = []

    def moved(route: Route) -> bool | None:
        if done:
            return False
        done.append(1)
        (upload,) = shop.uploads.values()
        upload["data"] += (route.request.post_data_buffer or b"")[:1000]  # an old connection brought a part of it
        json_of(route, {"error": {"code": "wrong_offset", "message": "stands at byte 1000"}}, 409)
        return None

    shop.fail["PATCH /"] = moved
    page = ready(open_page())
    choose(page, photo(size=5000, fill=b"ab"))
    page.wait_for_url("**/inspections/1")
    (upload,) = shop.uploads.values()
    assert upload["data"] == b"ab" * 5000


def test_who_is_no_longer_signed_in_keeps_the_photo(open_page: Open, shop: StandIn) -> None:
    body = {"error": {"code": "not_signed_in", "message": "Nobody is signed in on this phone."}}
    shop.fail["POST /api/uploads"] = lambda route: json_of(route, body, 401)
    page = ready(open_page())
    choose(page, photo())
    expect(status(page)).to_contain_text("Nobody is signed in on this phone. Then it is sent. The photo is kept")


def test_a_photo_is_not_sent_in_the_name_of_somebody_else(open_page: Open, shop: StandIn) -> None:
    shop.away = True
    page = ready(open_page())
    choose(page, photo())
    expect(page.locator("[data-take-queue] > li")).to_have_count(1)
    page.close()
    shop.away, shop.person = False, "Mika"
    shop.requests.clear()
    page = ready(open_page())
    expect(status(page)).to_have_text("Kept on this phone: sign in as Ola to send.")
    page.wait_for_timeout(300)
    assert shop.requests == []


def test_who_was_signed_in_on_another_page_meanwhile_does_not_answer_for_the_photo(
    open_page: Open, shop: StandIn
) -> None:
    page = ready(open_page())
    shop.session = "Mika"
    choose(page, photo())
    expect(status(page)).to_contain_text("Mika is signed in now: sign in as Ola to send. The photo is kept")
    assert shop.logged == []


def test_what_is_refused_says_why_and_holds_nothing_up(open_page: Open, shop: StandIn) -> None:
    body = {"error": {"code": "bad_photo", "message": "IMG_1.jpg is no photo."}}
    shop.fail["POST /api/inspections"] = lambda route: json_of(route, body, 422)
    page = ready(open_page())
    choose(page, photo(size=1000))
    expect(page.locator("[data-take-queue]")).to_contain_text("not taken. IMG_1.jpg is no photo.")
    shop.fail.clear()
    choose(page, photo("IMG_2.jpg", size=1000))
    page.wait_for_url("**/inspections/1")
    assert shop.uploads[shop.logged[0]["uploads"][0]]["name"] == "IMG_2.jpg"


def test_what_was_refused_can_be_tried_again_or_thrown_away(open_page: Open, shop: StandIn) -> None:
    shop.fail["POST /api/inspections"] = lambda route: json_of(route, {"error": {"code": "x", "message": "No."}}, 422)
    page = ready(open_page())
    choose(page, photo(size=1000))
    with page.expect_request("**/api/inspections"):
        page.get_by_role("button", name="Try again").click()
    page.on("dialog", lambda dialog: dialog.accept())
    page.get_by_role("button", name="Throw away").click()
    expect(page.locator("[data-take-queue]")).to_be_hidden()


def test_a_person_chooses_among_several_outlines(open_page: Open, shop: StandIn) -> None:
    shop.outlines = [1, 3]
    page = ready(open_page())
    choose(page, photo(size=1000))
    page.get_by_role("button", name="Outline 3").click()
    page.wait_for_url("**/inspections/1")
    assert [told.get("outline") for told in shop.logged] == [3]


NO_ROOM = """const put = IDBObjectStore.prototype.put;
IDBObjectStore.prototype.put = function (value, ...key) {
  if (value instanceof Blob) throw new DOMException("full", "QuotaExceededError");
  return put.call(this, value, ...key);
};"""
PRIVATE = "IDBFactory.prototype.open = () => { throw new DOMException('private', 'InvalidStateError'); };"


@pytest.mark.parametrize("script", [NO_ROOM, PRIVATE], ids=["storage full", "private mode"])
def test_a_phone_that_cannot_keep_a_photo_says_so_and_sends_it(
    open_page: Open, shop: StandIn, phone: BrowserContext, script: str
) -> None:
    phone.add_init_script(script)
    shop.away = True
    page = ready(open_page())
    choose(page, photo(size=1000))
    expect(status(page)).to_contain_text("This phone cannot keep the photo (private mode, or no room left)")
    shop.away = False
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_url("**/inspections/1")
    assert len(shop.logged) == 1


def test_how_much_was_sent_is_shown(open_page: Open, shop: StandIn) -> None:
    page = ready(open_page())
    seen: list[str] = []
    page.expose_function("seen", lambda words: seen.append(words))
    page.evaluate("""() => new MutationObserver((all) => all.forEach((one) => window.seen(one.target.textContent)))
        .observe(document.querySelector("[data-take-status]"), { childList: true })""")
    shop.fail["GET /api/work"] = lambda route: json_of(route, {"state": "running", "share": 0.5, "text": "looking"})
    choose(page, photo(size=1_300_000))
    expect(status(page)).to_have_text("Looking.")
    assert page.locator("progress").evaluate("bar => bar.value") == pytest.approx(0.95)
    shares = [int(words.split()[1]) for words in seen if words.startswith("Sending")]
    assert shares == sorted(shares)
    assert shares[-1] == 100


def test_a_set_is_sent_as_one(open_page: Open, shop: StandIn) -> None:
    page = ready(open_page("/set"))
    choose(page, photo("a.jpg", size=1000), photo("b.jpg", size=1000))
    choose(page, photo("c.jpg", size=1000))
    expect(page.locator("[data-taken]")).to_have_count(3)
    page.locator("[data-take-send]").click()
    page.wait_for_url("**/inspections/1")
    (told,) = shop.logged
    assert told["kind"] == "set"
    assert [shop.uploads[number]["name"] for number in told["uploads"]] == ["a.jpg", "b.jpg", "c.jpg"]


def test_one_photo_is_no_set(open_page: Open, shop: StandIn) -> None:
    page = ready(open_page("/set"))
    choose(page, photo("a.jpg", size=1000))
    page.locator("[data-take-send]").click()
    expect(status(page)).to_have_text("A set needs 2 to 6 photos; 1 so far.")
    assert shop.requests == []


def test_a_set_takes_six_photos_at_most(open_page: Open, shop: StandIn) -> None:
    page = ready(open_page("/set"))
    choose(page, *(photo(f"{k}.jpg", size=1000) for k in range(8)))
    expect(page.locator("[data-taken]")).to_have_count(6)
    expect(status(page)).to_contain_text("at most 6 photos: the last 2 were left out")


def test_a_set_that_was_begun_is_there_after_the_page_was_closed(open_page: Open, shop: StandIn) -> None:
    page = ready(open_page("/set"))
    choose(page, photo("a.jpg", size=1000), photo("b.jpg", size=1000))
    expect(page.locator("[data-taken]")).to_have_count(2)
    page.close()
    page = ready(open_page("/set"))
    expect(page.locator("[data-taken]")).to_have_count(2)
    page.get_by_role("button", name="Leave photo 1 out").click()
    expect(page.locator("[data-taken]")).to_have_count(1)


def test_a_clip_is_sent_as_a_clip(open_page: Open, shop: StandIn) -> None:
    page = ready(open_page())
    choose(page, photo("sweep.mp4", size=1000))
    page.wait_for_url("**/inspections/1")
    assert shop.logged[0]["kind"] == "clip"


def test_the_wait_between_tries_grows_to_half_a_minute(open_page: Open) -> None:
    page = open_page()
    pauses = page.evaluate("import('/static/wire.js').then((w) => [1, 2, 3, 4, 5, 6, 7, 60].map((k) => w.pause(k, 1)))")
    assert pauses == [1000, 2000, 4000, 8000, 16000, 30000, 30000, 30000]


def test_pieces_grow_on_a_quick_line_and_shrink_on_a_slow_one(open_page: Open) -> None:
    page = open_page()
    sizes = page.evaluate(
        "import('/static/send.js').then((s) => [s.nextChunk(1024, 10), s.nextChunk(2**22, 10), s.nextChunk(2**20, 2000),"
        " s.nextChunk(2**20, 9000), s.nextChunk(2**16, 9000)])"
    )
    assert sizes == [2048, 2**22, 2**20, 2**19, 2**16]


def test_a_long_name_is_cut_and_keeps_its_ending(open_page: Open, shop: StandIn) -> None:
    page = ready(open_page())
    choose(page, photo("x" * 200 + ".jpeg", size=1000))
    page.wait_for_url("**/inspections/1")
    (upload,) = shop.uploads.values()
    assert upload["name"] == "x" * 50 + ".jpeg"
