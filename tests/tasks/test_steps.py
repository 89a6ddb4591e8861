"""Choosing a plan, doing steps, releasing hold points, opening steps again."""

from __future__ import annotations

from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.errors import BadSteps, Held, NotAllowed, UnknownRecord, WrongPin, WrongUse
from prepcheck.store import NewJob
from prepcheck.store.store import Store
from prepcheck.trade.entries import StepReleased, WorkChosen
from prepcheck.trade.work import parse_work
from tests.store.records import new_log
from tests.tasks.shop import (
    JOB,
    PINS,
    QUICK,
    SHORT,
    closed,
    condition,
    done,
    minute,
    planned,
    progress,
    readings,
    release,
    short,
)


@pytest.fixture
def shop(tmp_path: Path) -> Store:
    return planned(tmp_path)


def last(store: Store):
    return store.events(JOB)[-1]


def ready(store: Store) -> Store:
    """Clean and clear, so that the hold point waits."""
    done(store, "clean", 1)
    done(store, "clear", 5)
    return store


# the plan


def test_a_plan_is_logged_word_for_word(shop):
    assert shop.events(JOB)[0].entry == WorkChosen(work="short", plan=SHORT)


def test_a_job_without_a_plan_has_no_steps(shop):
    other = tasks.open_job(shop, NewJob("Lid"), person="Ola", at=minute(1)).number
    assert tasks.story_state(tasks.job_story(shop, other), minute(1)) is None
    with pytest.raises(WrongUse, match=r"J-0002: has no plan of steps yet\. Choose one \(prepcheck step plan\)"):
        tasks.mark_step(shop, other, "clean", person="Ola", at=minute(1))


def test_a_plan_of_an_unknown_job_is_refused(shop):
    with pytest.raises(UnknownRecord):
        tasks.choose_work(shop, "9", short(), person="Ola", at=minute(1))


def test_another_plan_takes_somebody_who_may_release(shop):
    looser = parse_work(SHORT.replace("hold_point = true\nother_person = true", ""), "looser")
    with pytest.raises(NotAllowed, match="needs the PIN of a releaser"):
        tasks.choose_work(shop, JOB, looser, person="Ola", at=minute(1), settings=QUICK)
    tasks.choose_work(shop, JOB, looser, person="Mika", at=minute(1), pin=PINS["Mika"], settings=QUICK)
    assert last(shop).entry == WorkChosen(work="looser", plan=looser.text)


def test_of_two_first_plans_at_once_the_second_is_refused(shop, monkeypatch):
    monkeypatch.setattr(shop, "events", lambda number: ())  # as it was before the first one came
    with pytest.raises(NotAllowed, match="was given a plan by somebody else meanwhile"):
        tasks.choose_work(shop, JOB, short(), person="Ola", at=minute(1))


def test_a_plan_in_the_log_that_cannot_be_read_is_told(shop):
    shop.add_event(JOB, WorkChosen(work="newer", plan="title = 3"), "Ola", minute(1))
    with pytest.raises(BadSteps, match="newer: "):
        progress(shop, 2)


# doing


def test_a_step_is_done_with_a_note_and_in_any_spelling(shop):
    done(shop, "Clean", 1, note="both sides")
    assert (last(shop).entry.step, last(shop).entry.note, last(shop).person) == ("clean", "both sides", "Ola")


def test_an_unknown_step_is_refused(shop):
    with pytest.raises(
        WrongUse, match=r"wled: is no step of this job's plan\. Use one of: clean, clear, weld, look over"
    ):
        done(shop, "wled", 1)


def test_a_step_behind_a_hold_point_is_held_and_nothing_is_logged(shop):
    ready(shop)
    with pytest.raises(Held, match=r"weld: held up. The step clear has to be released first. Settle this, or"):
        done(shop, "weld", 10)
    assert len(shop.events(JOB)) == 3


def test_what_was_done_all_the_same_is_logged_with_what_spoke_against_it(shop):
    ready(shop)
    done(shop, "weld", 10, person="Mika", override=True, reason="told by phone", pin=PINS["Mika"])
    assert last(shop).entry.against == ("The step clear has to be released first.",)
    assert (last(shop).entry.note, last(shop).role) == ("told by phone", "releaser")


def test_an_override_takes_somebody_who_may_release(shop):
    with pytest.raises(NotAllowed, match="needs the PIN of a releaser"):
        done(shop, "weld", 10, override=True, reason="x")


def test_an_override_takes_a_reason(shop):
    with pytest.raises(WrongUse, match="the reason is empty"):
        done(shop, "weld", 10, person="Mika", override=True, pin=PINS["Mika"])


def test_work_that_began_in_time_may_be_told_late(shop):
    release(ready(shop), "clear", 6)
    with pytest.raises(Held, match="5 h 00 min went by after the step clean"):
        done(shop, "weld", 301)
    done(shop, "weld", 301, started_at=minute(200))
    assert progress(shop, 302)["weld"] == "done"


def test_work_cannot_begin_in_the_future(shop):
    with pytest.raises(WrongUse, match="cannot have begun in the future"):
        done(shop, "clean", 1, started_at=minute(9))


def test_work_cannot_begin_before_what_its_time_runs_from(shop):
    release(ready(shop), "clear", 6)
    with pytest.raises(Held, match="no time can be told"):
        done(shop, "weld", 10, started_at=minute(-60))


def test_work_cannot_begin_before_the_hold_point_was_released(shop):
    release(ready(shop), "clear", 60)
    with pytest.raises(Held, match="The work began before the step clear was released"):
        done(shop, "weld", 90, started_at=minute(30))
    done(shop, "weld", 90, started_at=minute(61))
    assert last(shop).entry.started_at == minute(61)


def test_what_speaks_against_a_step_is_cut_to_a_line(tmp_path):
    store = planned(tmp_path, closed())
    for name in ("intake", "open up"):
        done(store, name, 1)
    for entry in (condition(2), *readings(3)):
        tasks.log_entry(store, JOB, entry, person="Ola", at=minute(4))
    release(store, "open up", 60, override=True, reason="x")
    (against,) = last(store).entry.against
    assert (len(against), against[-7:]) == (200, " [cut].")


# releasing


def test_a_release_names_the_person_and_the_role_that_was_proved(shop):
    release(ready(shop), "clear", 6)
    event = last(shop)
    assert event.entry == StepReleased(step="clear")
    assert (event.person, event.role, event.at) == ("Mika", "releaser", minute(6).isoformat())


@pytest.mark.parametrize("person", ["Ola", "Max"])
def test_who_has_no_pin_releases_nothing(shop, person):
    with pytest.raises(NotAllowed, match="needs the PIN of a releaser"):
        release(ready(shop), "clear", 6, person=person)


def test_a_welder_with_a_pin_releases_nothing(shop):
    tasks.add_person(shop, "Ola", "welder", "1111", at=minute(1), by="Rune", by_pin=PINS["Rune"], settings=QUICK)
    with pytest.raises(NotAllowed, match=r"Ola: is no releaser\. Ask somebody who is"):
        release(ready(shop), "clear", 6, person="Ola", pin="1111")


def test_a_keeper_may_release_too(shop):
    release(ready(shop), "clear", 6, person="Rune")
    assert last(shop).role == "keeper"


def test_a_wrong_pin_releases_nothing(shop):
    with pytest.raises(WrongPin):
        release(ready(shop), "clear", 6, pin="0000")
    assert progress(shop, 7)["clear"] == "held"


def test_where_nobody_has_a_role_any_named_person_releases(tmp_path):
    store, _ = new_log(tmp_path)
    tasks.choose_work(store, JOB, short(), person="Ola", at=minute(0))
    release(ready(store), "clear", 6, person="Mika", pin=None)
    assert (last(store).person, last(store).role) == ("Mika", "")


def test_nobody_releases_their_own_work_where_the_plan_forbids_it(shop):
    done(shop, "clean", 1)
    done(shop, "clear", 5, person="mika")
    with pytest.raises(NotAllowed, match="the plan wants another person to release this than the one who did it"):
        release(shop, "clear", 6, person="MIKA", pin=PINS["Mika"], override=True, reason="nobody else here")


def test_own_work_may_be_released_where_the_plan_allows_it(shop):
    release(ready(shop), "clear", 6)
    done(shop, "weld", 20)
    done(shop, "look over", 30, person="Mika")
    release(shop, "look over", 31)
    assert progress(shop, 32)["look over"] == "released"


def test_what_is_no_hold_point_is_not_released(shop):
    with pytest.raises(WrongUse, match="clean: is no hold point"):
        release(shop, "clean", 6)


def test_what_was_released_is_not_released_again(shop):
    release(ready(shop), "clear", 6)
    with pytest.raises(WrongUse, match="clear: was released by Mika already"):
        release(shop, "clear", 7)


def test_a_hold_point_that_is_held_up_is_not_released(shop):
    with pytest.raises(Held) as caught:
        release(shop, "clear", 6)
    assert "Nobody said that the step clear is done. The step clean comes first" in caught.value.message
    assert (caught.value.exit_code, len(shop.events(JOB))) == (1, 1)


def test_a_release_over_what_speaks_against_it_keeps_it_with_the_reason(shop):
    done(shop, "clear", 5, person="Rune", override=True, reason="x", pin=PINS["Rune"])
    release(shop, "clear", 6, override=True, reason="cleaned at the yard")
    entry = last(shop).entry
    assert (entry.override, entry.reason) == (True, "cleaned at the yard")
    assert entry.against == ("The step clean comes first and is not done.",)


def test_an_override_where_nothing_speaks_against_it_is_a_plain_release(shop):
    release(ready(shop), "clear", 6, override=True, reason="to be sure")
    assert (last(shop).entry.override, last(shop).entry.against) == (False, ())


def test_with_the_clock_moved_back_nothing_is_released(shop):
    ready(shop)
    with pytest.raises(Held, match="Set the clock right"):
        release(shop, "clear", -30)


def test_a_closed_vessel_is_released_on_readings_and_not_without(tmp_path):
    store = planned(tmp_path, closed())
    done(store, "intake", 1)
    done(store, "open up", 2)
    with pytest.raises(Held, match="The condition of the vessel is not logged"):
        release(store, "open up", 3)
    for entry in (condition(4), *readings(5)):
        tasks.log_entry(store, JOB, entry, person="Ola", at=minute(6))
    release(store, "open up", 7)
    assert progress(store, 8)["open up"] == "released"


def test_a_low_oxygen_reading_holds_the_vessel(tmp_path):
    store = planned(tmp_path, closed())
    done(store, "intake", 1)
    done(store, "open up", 2)
    for entry in (condition(4), *readings(5, oxygen=19.4)):  # 19.5 %: 29 CFR 1915.12, seen
        tasks.log_entry(store, JOB, entry, person="Ola", at=minute(6))
    with pytest.raises(Held, match=r"Oxygen must be at least 19\.5 %"):
        release(store, "open up", 7)


# opening again


def test_a_step_is_opened_again_with_a_reason(shop):
    release(ready(shop), "clear", 6)
    tasks.reopen_step(shop, JOB, "clean", person="Ola", reason="rain", at=minute(10))
    assert progress(shop, 11) == {"clean": "next", "clear": "open", "weld": "open", "look over": "open"}


def test_what_is_open_is_not_opened_again(shop):
    with pytest.raises(WrongUse, match="weld: is open"):
        tasks.reopen_step(shop, JOB, "weld", person="Ola", reason="x", at=minute(1))


def test_opening_again_needs_a_reason(shop):
    ready(shop)
    with pytest.raises(WrongUse, match="the reason is empty"):
        tasks.reopen_step(shop, JOB, "clean", person="Ola", reason=" ", at=minute(10))
