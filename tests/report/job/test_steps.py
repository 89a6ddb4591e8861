"""Steps, overrides and open points are told as the plan and the log have them."""

from dataclasses import replace

import pytest

from prepcheck.report.job.gather import standing
from prepcheck.report.job.steps import held_up, open_steps, overrides, steps
from prepcheck.settings import Settings
from prepcheck.store.rows import LoggedEvent, Story
from prepcheck.trade import entries as e
from prepcheck.trade.facts import Remark, Weight
from tests.report.job import made
from tests.report.job.said import of_section


def told_with(*entries, minutes=470):
    """Return a job of the closed vessel's plan with these entries, a minute after another."""
    chosen = e.WorkChosen(work=made.WORK.name, plan=made.WORK.text)
    events = tuple(
        LoggedEvent(k + 1, made.at(k), "Mika" if k % 2 else "Ola", "", entry)
        for k, entry in enumerate((chosen, *entries))
    )
    state = standing(events, made.time(minutes), Settings())
    return made.told(story=Story(made.JOB, (), events), state=state, checks=())


def rows(told, title):
    return next(block for block in steps(told).blocks if getattr(block, "title", "") == title).rows


def test_every_step_of_the_plan_is_told_in_its_order():
    assert [row[0] for row in rows(told_with(), "The plan's steps at the time of writing")] == [
        step.name for step in made.WORK.step
    ]


def test_a_step_names_who_did_it_and_when():
    told = told_with(e.StepDone(step="intake"))
    first = rows(told, "The plan's steps at the time of writing")[0]
    assert first == ("intake", "step", "done", "2026-11-24 07:41, Mika", "-", "-")


def test_when_the_work_began_is_told_too():
    told = told_with(e.StepDone(step="intake", started_at=made.time(-30)))
    assert (
        rows(told, "The plan's steps at the time of writing")[0][3] == "2026-11-24 07:41, Mika, began 2026-11-24 07:10"
    )


def test_a_step_that_was_opened_again_is_open_and_the_log_keeps_both():
    told = told_with(e.StepDone(step="intake"), e.StepReopened(step="intake", reason="the alloy is another"))
    assert rows(told, "The plan's steps at the time of writing")[0][2] == "next"
    logged = rows(told, "As logged, in order")
    assert [row[2] for row in logged] == ["done", "opened again"]
    assert logged[1][4] == "the alloy is another"


def test_what_was_done_against_something_is_named_as_such():
    told = told_with(e.StepDone(step="intake", note="no time", against=("papers missing",)))
    assert rows(told, "As logged, in order")[0][2] == "done, override"


def test_overrides_come_in_the_order_of_the_log():
    told = told_with(
        e.StepReleased(step="open up", override=True, reason="first", against=("a",)),
        e.StepReleased(step="clear"),
        e.StepDone(step="weld", note="second", against=("b",)),
    )
    assert [one.title for one in overrides(told)] == ["Released: open up", "Done: weld"]


def test_an_override_without_a_reason_says_that_none_was_given():
    (one,) = overrides(told_with(e.StepReleased(step="clear", override=True)))
    assert dict(one.rows)["Reason given"] == "none given"
    assert dict(one.rows)["Spoke against it"] == "not logged"


def test_without_a_plan_the_section_says_so():
    said = of_section(steps(made.empty()))
    assert "No plan of steps was chosen for this job." in said
    assert "No step was said to be done or released." in said


def test_the_next_step_is_open_with_what_holds_it_and_later_ones_in_one_line():
    points = list(open_steps(told_with(e.StepDone(step="intake"))))
    assert points[0].startswith("open up: next. The condition of the vessel is not logged")
    assert points[-1].startswith("open, other steps come first: strip, grind, clean")


def test_a_held_step_waits_for_a_named_person():
    told = told_with(e.StepDone(step="intake"), e.StepDone(step="open up"))
    assert any(one.startswith("open up: held, waits until a named person releases it.") for one in open_steps(told))


def test_of_much_that_holds_a_step_up_the_first_thing_is_told_and_then_the_whole_list():
    condition = e.VesselCondition(condition="ventilated", previous_contents="diesel", at=made.START)
    told = told_with(e.StepDone(step="intake"), condition)
    first = next(open_steps(told))
    assert "3 things hold it up, listed below; first: No reading of oxygen in this condition." in first
    assert "toxic" not in first
    head, points = held_up(told)
    assert head.lead == "open up:"
    assert [one.split()[3] for one in points.points] == ["oxygen", "flammable", "toxic"]
    assert rows(told, "The plan's steps at the time of writing")[1][-1].endswith("; and 2 more, see the open points")


def test_one_thing_that_holds_a_step_up_is_told_once():
    assert list(held_up(told_with(e.StepDone(step="intake")))) == []


def test_nothing_is_open_without_a_plan():
    assert list(open_steps(made.empty())) == []


def test_a_clock_that_was_moved_back_is_an_open_point():
    told = told_with(e.StepDone(step="intake"), minutes=-90)
    assert "Set the clock right." in next(open_steps(told))


def test_what_ran_out_of_time_is_said_even_where_it_does_not_hold():
    told = told_with(e.StepDone(step="intake"))
    first, *rest = told.state.steps
    aged = Remark("reading_aged", Weight.WARN, "The readings are old.", "setting")
    state = replace(told.state, steps=(replace(first, remarks=(aged,)), *rest))
    assert "Out of time: The readings are old. (setting)" in list(open_steps(made.told(state=state)))


@pytest.mark.parametrize("kind", ["step", "hold point"])
def test_hold_points_are_told_from_other_steps(kind):
    names = {row[0] for row in rows(told_with(), "The plan's steps at the time of writing") if row[1] == kind}
    assert names == {step.name for step in made.WORK.step if step.hold_point == (kind == "hold point")}
