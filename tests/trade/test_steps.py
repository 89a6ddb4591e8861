"""How the steps of a job stand: folded from its entries alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.settings import Settings, StepSettings
from prepcheck.trade.entries import (
    AnyEntry,
    LeakEntry,
    Note,
    State,
    StepDone,
    StepReleased,
    StepReopened,
    WallReading,
    WorkChosen,
)
from prepcheck.trade.facts import Weight
from prepcheck.trade.steps import JobState, Progress, before_doing, before_releasing, job_state, state_of
from prepcheck.trade.work import Work, parse_work
from tests.tasks.shop import SHORT, closed, condition, minute, readings, short

SETTINGS = Settings()


@dataclass(frozen=True)
class Logged:
    """An entry as the log gives it back."""

    number: int
    at: str
    person: str
    role: str
    entry: AnyEntry | None
    erased_kind: str = ""


def log(*told: tuple[float, AnyEntry | None]) -> list[Logged]:
    """Number entries that are told with their minute after eight."""
    return [Logged(n, minute(at).isoformat(), "Ola", "", entry) for n, (at, entry) in enumerate(told, start=1)]


def state(events: list[Logged], at: float, work: Work | None = None, settings: Settings = SETTINGS) -> JobState:
    return job_state(work or short(), events, minute(at), settings)


def progress(events: list[Logged], at: float = 60) -> list[Progress]:
    return [one.progress for one in state(events, at).steps]


def codes(remarks, weight: Weight | None = None) -> list[str]:
    return [one.code for one in remarks if weight in (None, one.weight)]


CLEANED, CLEARED = (0, StepDone(step="clean")), (10, StepDone(step="clear"))
RELEASED, WELDED = (20, StepReleased(step="clear")), (60, StepDone(step="weld"))


# progress


def test_at_first_the_step_that_needs_none_is_next_and_the_rest_are_open():
    assert progress([]) == [Progress.NEXT, Progress.OPEN, Progress.OPEN, Progress.OPEN]


def test_a_step_that_is_done_makes_the_one_after_it_next():
    assert progress(log(CLEANED)) == [Progress.DONE, Progress.NEXT, Progress.OPEN, Progress.OPEN]


def test_a_hold_point_that_is_done_waits_for_its_release():
    assert progress(log(CLEANED, CLEARED))[1:3] == [Progress.HELD, Progress.OPEN]


def test_a_released_hold_point_lets_the_next_step_begin():
    assert progress(log(CLEANED, CLEARED, RELEASED))[1:3] == [Progress.RELEASED, Progress.NEXT]


def test_a_release_over_what_speaks_against_it_is_told_as_such():
    over = StepReleased(step="clear", override=True, reason="the meter is on its way", against=("No reading.",))
    cleared = state(log(CLEANED, CLEARED, (20, over)), 30).find("clear")
    assert (cleared.progress, cleared.against, cleared.note) == (
        Progress.OVERRIDDEN,
        ("No reading.",),
        "the meter is on its way",
    )


def test_a_step_that_was_done_over_what_spoke_against_it_is_told_as_such():
    over = StepDone(step="clean", note="no time", against=("The step grind comes first.",))
    assert state(log((0, over)), 1).find("clean").progress is Progress.OVERRIDDEN


def test_who_did_and_who_released_are_both_told_with_their_times():
    cleared = state(log(CLEANED, CLEARED, RELEASED), 30).find("clear")
    assert (cleared.did, cleared.did_at, cleared.at) == ("Ola", minute(10).isoformat(), minute(20).isoformat())


def test_a_step_that_is_opened_again_takes_those_that_need_it_along():
    again = (90, StepReopened(step="clean", reason="rain"))
    assert progress(log(CLEANED, CLEARED, RELEASED, WELDED, again), 91) == [
        Progress.NEXT,
        Progress.OPEN,
        Progress.OPEN,
        Progress.OPEN,
    ]


def test_what_was_opened_again_says_by_whom_and_why():
    again = (90, StepReopened(step="clean", reason="rain"))
    told = state(log(CLEANED, CLEARED, again), 91)
    assert told.find("clean").note == "opened again by Ola: rain"
    assert told.find("clear").note == "opened again with clean by Ola: rain"


def test_a_hold_point_that_is_done_once_more_needs_its_release_once_more():
    assert progress(log(CLEANED, CLEARED, RELEASED, (30, StepDone(step="clear"))))[1] is Progress.HELD


def test_entries_about_steps_that_the_plan_does_not_have_change_nothing():
    assert progress(log((0, StepDone(step="galvanise")), (1, Note(text="clean")), (2, None))) == progress([])


def test_without_a_plan_there_is_no_state():
    assert state_of(log(CLEANED), minute(1), SETTINGS) is None


def test_the_plan_that_was_chosen_last_counts_as_it_was_then():
    other = SHORT.replace('"clean"', '"scrape"')
    events = log((0, WorkChosen(work="short", plan=SHORT)), (1, WorkChosen(work="other", plan=other)))
    told = state_of(events, minute(2), SETTINGS)
    assert told is not None
    assert told.work == parse_work(other, "other")


@given(st.lists(st.sampled_from(["done", "released", "reopened"]), max_size=12), st.randoms(use_true_random=False))
def test_no_later_step_is_next_while_one_that_it_needs_is_not_finished(kinds, random):
    makers = {
        "done": lambda name: StepDone(step=name),
        "released": lambda name: StepReleased(step=name),
        "reopened": lambda name: StepReopened(step=name, reason="x"),
    }
    steps = [step.name for step in short().step]
    told = state(log(*((n, makers[kind](random.choice(steps))) for n, kind in enumerate(kinds))), 20)
    for one in told.those(Progress.NEXT):
        assert all(told.find(name).progress.finished for name in one.step.needs)


# what holds


def test_a_step_is_held_by_each_step_that_it_needs():
    assert [one.text for one in state([], 0).find("weld").blocks] == [
        "The step clean comes first and is not done.",
        "The step clear has to be released first.",
    ]


def test_a_hold_point_that_nobody_did_is_held():
    events = log(CLEANED)
    assert codes(before_releasing(state(events, 5), "clear", events, minute(5), SETTINGS)) == ["not_done"]


def test_nothing_holds_a_hold_point_whose_steps_before_are_finished():
    events = log(CLEANED, CLEARED)
    assert before_releasing(state(events, 15), "clear", events, minute(15), SETTINGS) == ()


# time from cleaning to welding: 4 h (Mathers p. 68, seen)


@pytest.mark.parametrize(("after", "code"), [(0, "time_left"), (240, "time_left"), (241, "cleaned_too_long_ago")])
def test_four_hours_after_cleaning_the_part_is_cleaned_again(after, code):
    events = log(CLEANED, CLEARED, RELEASED)
    assert codes(state(events, after).find("weld").remarks) == [code]


def test_the_time_that_is_left_is_told():
    (left,) = state(log(CLEANED, CLEARED, RELEASED), 190).find("weld").remarks
    assert left.text == "50 min of 4 h 00 min after the step clean are left, until 2026-11-24 12:00."


def test_the_limit_is_told_with_its_source_and_the_conflict():
    (over,) = state(log(CLEANED, CLEARED, RELEASED), 300).find("weld").remarks
    assert "Mathers" in over.source
    assert "seen" in over.source
    assert "8 h, 24 h or the same shift, are told from memory only" in over.source


def test_a_limit_of_the_shops_own_says_so():
    own = Settings(steps=StepSettings(clean_to_weld_hours=2))
    (over,) = state(log(CLEANED, CLEARED, RELEASED), 121, settings=own).find("weld").remarks
    assert (over.code, "the shop's own" in over.source, "Mathers" in over.source) == (
        "cleaned_too_long_ago",
        True,
        False,
    )


def test_the_hours_of_the_plan_go_before_those_of_the_settings():
    work = parse_work(SHORT.replace('within_hours_of = "clean"', 'within_hours_of = "clean"\nhours = 1'), "own")
    events = log(CLEANED, CLEARED, RELEASED)
    assert codes(job_state(work, events, minute(61), SETTINGS).ran_out) == ["cleaned_too_long_ago"]


def test_cleaning_again_starts_the_time_anew():
    events = log(CLEANED, CLEARED, RELEASED, (300, StepDone(step="clean")))
    assert codes(state(events, 310).find("weld").remarks) == ["time_left"]


def test_a_time_that_ran_out_is_told_of_the_job_while_other_steps_still_come_first():
    assert codes(state(log(CLEANED), 300).ran_out) == ["cleaned_too_long_ago"]


def test_a_weld_that_began_in_time_is_not_held_when_it_ends_late():
    events = log(CLEANED, CLEARED, RELEASED)
    told = state(events, 300)
    assert codes(before_doing(told, "weld", events, minute(230), SETTINGS), Weight.HOLD) == []
    assert codes(before_doing(told, "weld", events, minute(300), SETTINGS), Weight.HOLD) == ["cleaned_too_long_ago"]


def test_once_it_is_welded_no_time_runs():
    assert state(log(CLEANED, CLEARED, RELEASED, WELDED), 900).ran_out == ()


# clocks


def test_a_clock_before_the_newest_entry_holds_everything():
    events = log((0, Note(text="x")), CLEANED, CLEARED)
    told = state(events, -30)
    assert codes(told.remarks) == ["clock_moved_back"]
    assert "clock_moved_back" in codes(before_releasing(told, "clear", events, minute(-30), SETTINGS), Weight.HOLD)


def test_two_clocks_may_differ_by_the_slack():
    assert state(log((0, Note(text="x"))), -2).remarks == ()


def test_entries_out_of_order_are_a_doubt_that_names_both():
    (doubt,) = state(log((60, Note(text="x")), (0, Note(text="y"))), 61).remarks
    assert (doubt.code, doubt.weight) == ("times_out_of_order", Weight.WARN)
    assert doubt.text.startswith("Entry 2 of 2026-11-24 08:00 follows entry 1 of 2026-11-24 09:00")


def test_a_time_that_runs_from_the_future_holds():
    events = log((60, StepDone(step="clean")), (61, StepDone(step="clear")), (62, StepReleased(step="clear")))
    told = state(events, 63)
    assert "clock_moved_back" in codes(before_doing(told, "weld", events, minute(0), SETTINGS), Weight.HOLD)


def test_a_weld_that_began_before_the_release_is_held():
    events = log(CLEANED, CLEARED, (60, StepReleased(step="clear")))
    told = state(events, 90)
    assert codes(before_doing(told, "weld", events, minute(50), SETTINGS), Weight.HOLD) == ["began_before_release"]
    assert codes(before_doing(told, "weld", events, minute(60), SETTINGS), Weight.HOLD) == []


# evidence


def cleared_vessel(oxygen: float = 20.9, taken: float = 6) -> list[Logged]:
    intake = (0, StepDone(step="intake"))
    return log(intake, (1, StepDone(step="open up")), (5, condition(5)), *((7, one) for one in readings(taken, oxygen)))


def test_a_closed_vessel_without_a_condition_is_held():
    events = cleared_vessel()[:2]
    assert "no_condition" in codes(state(events, 8, closed()).find("open up").blocks)


def test_readings_within_their_limits_hold_nothing_and_are_told_in_the_agreed_words():
    opened = state(cleared_vessel(), 8, closed()).find("open up")
    assert opened.blocks == ()
    assert "readings_within_limits" in codes(opened.remarks)


def test_oxygen_under_its_limit_holds_the_vessel():  # 19.5 %, 29 CFR 1915.12, seen
    assert "oxygen_low" in codes(state(cleared_vessel(oxygen=19.4), 8, closed()).find("open up").blocks)


def test_readings_that_aged_ran_out_of_time():  # 30 min, a setting: common practice, no source
    assert codes(state(cleared_vessel(), 36, closed()).ran_out) == []
    assert codes(state(cleared_vessel(), 37, closed()).ran_out) == ["reading_aged"]


@pytest.mark.parametrize(("kind", "holds"), [("gas_reading", True), ("vessel_condition", True), ("note", False)])
def test_a_reading_that_was_erased_holds_until_the_condition_is_entered_anew(kind, holds):
    events = [*cleared_vessel(), Logged(90, minute(7).isoformat(), "Ola", "", None, kind)]
    assert ("evidence_erased" in codes(state(events, 8, closed()).find("open up").blocks)) is holds
    anew = [replace(one, number=90 + one.number) for one in cleared_vessel()[2:]]
    assert "evidence_erased" not in codes(state([*events, *anew], 8, closed()).find("open up").blocks)


def test_the_newest_condition_counts_in_whatever_order_they_were_logged():
    newest = condition(5).model_copy(update={"condition": State.INERTED, "room_ventilated": True})
    events = log((0, StepDone(step="intake")), (6, newest), (7, condition(1)), *((8, one) for one in readings(6)))
    assert "no_entry" in codes(state(events, 9, closed()).find("open up").remarks)


def test_who_did_the_opening_may_say_so_before_the_readings_are_in():
    events = cleared_vessel()[:1]
    told = state(events, 8, closed())
    assert codes(before_doing(told, "open up", events, minute(8), SETTINGS), Weight.HOLD) == []


def test_readings_taken_after_the_weld_began_do_not_count_for_its_beginning():
    hold = ("no_condition", "reading_from_the_future", "reading_aged")
    early = log((5, condition(5)), *((15, one) for one in readings(15)), *((60, one) for one in readings(60)))
    late = log((5, condition(5)), *((60, one) for one in readings(60)))
    for events, found in ((early, []), (late, ["oxygen_not_measured", "flammable_not_measured"])):
        said = before_doing(state(events, 61, closed()), "weld", events, minute(20), SETTINGS)
        assert [code for code in codes(said) if code in (*hold, *found)] == found


EVIDENCE = """
title = "Evidence"
[[step]]
name = "weld"
title = "Weld"
[[step]]
name = "test"
title = "Test"
needs = ["weld"]
evidence = ["leak"]
[[step]]
name = "measure"
title = "Measure"
evidence = ["wall"]
"""


def leak(at: float, *leaks: str) -> tuple[float, LeakEntry]:
    return at, LeakEntry(method="bubbles", leaks=leaks, started_at=minute(at))


@pytest.mark.parametrize(
    ("told", "holds"),
    [
        ([(10, StepDone(step="weld"))], ["no_leak_test"]),
        ([leak(5), (10, StepDone(step="weld"))], ["no_leak_test"]),
        ([(10, StepDone(step="weld")), leak(20)], []),
        ([(10, StepDone(step="weld")), leak(20, "lower seam")], ["leaks_found"]),
        ([(10, StepDone(step="weld")), leak(20, "lower seam"), leak(30)], []),
    ],
)
def test_the_last_look_for_leaks_after_the_weld_counts(told, holds):
    assert codes(state(log(*told), 40, parse_work(EVIDENCE, "own")).find("test").blocks) == holds


def test_a_look_for_leaks_dated_before_the_last_does_not_take_its_place():
    events = log((10, StepDone(step="weld")), leak(30, "toe"), (40, leak(20)[1]))
    assert "leaks_found" in codes(state(events, 50, parse_work(EVIDENCE, "evidence")).find("test").blocks)


def test_a_look_for_leaks_that_was_erased_holds_until_somebody_looks_again():
    seen = [
        *log((10, StepDone(step="weld")), leak(20)),
        Logged(3, minute(30).isoformat(), "Ola", "", None, "leak_entry"),
    ]
    work = parse_work(EVIDENCE, "evidence")
    assert codes(state(seen, 50, work).find("test").blocks) == ["evidence_erased"]
    again = Logged(4, minute(40).isoformat(), "Ola", "", leak(40)[1])
    assert codes(state([*seen, again], 50, work).find("test").blocks) == []


def test_a_step_may_ask_for_a_wall_reading():
    work, wall = parse_work(EVIDENCE, "own"), WallReading(method="gauge", wall_mm=3, taken_at=minute(0))
    assert codes(state([], 1, work).find("measure").blocks) == ["no_wall_reading"]
    assert state(log((0, wall)), 1, work).find("measure").blocks == ()


def test_times_with_other_offsets_are_the_same_times():
    from datetime import timezone

    there = timezone(timedelta(hours=-6))
    events = log(CLEANED, CLEARED, RELEASED)
    moved = [
        Logged(e.number, datetime.fromisoformat(e.at).astimezone(there).isoformat(), e.person, e.role, e.entry)
        for e in events
    ]
    assert [one.progress for one in state(moved, 100).steps] == [one.progress for one in state(events, 100).steps]
    assert codes(state(moved, 241).ran_out) == ["cleaned_too_long_ago"]
