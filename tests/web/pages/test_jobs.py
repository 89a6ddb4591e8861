from __future__ import annotations

from prepcheck import tasks
from prepcheck.store import NewJob
from prepcheck.trade.work import parse_work
from tests.web.pages.reading import read
from tests.web.shop import NOON, SETTINGS

ONE_STEP = 'title = "Short"\n[[step]]\nname = "look"\ntitle = "Look"\n'


def test_a_job_without_photos_says_so_and_offers_no_camera(phone):
    page = read(phone.get("/"))
    assert "J-0001 Bowser, sump" in page.words
    assert "nothing photographed yet, opened 2026-11-28 12:00 by Ola" in page.words
    assert not [form for form in page.all("form") if "data-take" in form]


def test_the_camera_is_for_the_spot_photographed_last(phone, inspected):
    page = read(phone.get("/"))
    assert page.field("job")["value"] == "J-0001"
    assert page.field("spot")["value"] == "1"
    assert page.field("pass_no")["value"] == "2"  # residue was left: it is ground again
    assert "capture" in page.field("photos")


def test_the_last_standing_is_told_in_a_word(phone, inspected):
    assert "residue left" in read(phone.get("/")).words


def test_what_is_next_and_what_blocks_is_told(phone, planned):
    words = read(phone.get("/")).words
    assert "Next: open up" in words
    assert "Held up: The condition of the vessel is not logged" in words


def test_open_jobs_come_before_those_whose_steps_are_done(phone, store):
    told = {"person": "Rune", "at": NOON, "settings": SETTINGS}
    done = tasks.open_job(store, NewJob("Ready"), person="Rune", at=NOON).number
    tasks.choose_work(store, done, parse_work(ONE_STEP, "short"), **told)
    tasks.mark_step(store, done, "look", **told)
    words = read(phone.get("/")).words
    assert words.index("Bowser, sump") < words.index("All steps done") < words.index("Ready")


def test_older_jobs_are_a_press_away(phone, store):
    for number in range(31):
        tasks.open_job(store, NewJob(f"Job no {number}"), person="Rune", at=NOON)
    page = read(phone.get("/"))
    assert "Show 2 older jobs" in page.words
    assert "Bowser, sump" not in page.words
    (older,) = [link["href"] for link in page.all("a") if "before" in link.get("href", "")]
    last = read(phone.get(older)).words
    assert "Job no 0" in last
    assert "Bowser, sump" in last
    assert "Job no 1" not in last
    assert "older jobs" not in last


def test_jobs_before_one_that_is_not_there_are_not_found(phone):
    assert phone.get("/?before=J-0999").status_code == 404


def test_nobody_signed_in_is_led_to_sign_in(paired):
    page = read(paired.get("/", headers={"Accept": "text/html"}), 401)
    assert any(link.get("href") == "/sign-in?back=/" for link in page.all("a"))


def test_an_empty_log_asks_for_the_first_job(phone, monkeypatch):
    monkeypatch.setattr(tasks, "list_jobs", lambda store, **asked: [])
    page = read(phone.get("/"))
    assert "No job in this log yet" in page.words
    assert any(link.get("href") == "/jobs/new" for link in page.all("a"))
