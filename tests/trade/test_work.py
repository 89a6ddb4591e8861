"""Plans of steps: those that ship, and what a shop's own file may say."""

from __future__ import annotations

from pathlib import Path

import pytest

from prepcheck.errors import BadSteps, WrongUse
from prepcheck.trade.work import MOST_BYTES, SHIPPED, load_work, parse_work

ORDER = ["intake", "strip", "grind", "clean", "clear", "weld", "look over", "leak test", "coat", "hand over"]
STEP = '[[step]]\nname = "clean"\ntitle = "Clean"\n'


def plan(*steps: str) -> str:
    return 'title = "Own"\n' + "\n".join(steps)


@pytest.mark.parametrize("name", SHIPPED)
def test_a_plan_that_ships_has_the_steps_of_a_repair_in_order(name):
    names = [step.name for step in load_work(name).step]
    assert [step for step in names if step in ORDER] == [step for step in ORDER if step in names]
    assert {"intake", "clean", "clear", "weld", "hand over"} <= set(names)


@pytest.mark.parametrize("name", SHIPPED)
def test_in_a_plan_that_ships_clearing_and_handing_over_are_hold_points(name):
    work = load_work(name)
    assert work.find("clear").hold_point
    assert work.find("hand over").hold_point


@pytest.mark.parametrize("name", SHIPPED)
def test_in_a_plan_that_ships_welding_follows_clearing_and_its_time_runs_from_cleaning(name):
    weld = load_work(name).find("weld")
    assert "clear" in weld.needs
    assert (weld.within_hours_of, weld.hours) == ("clean", None)


def test_a_closed_vessel_needs_readings_before_any_spark_and_another_person_to_clear_it():
    work = load_work("closed-vessel")
    assert [step.name for step in work.step if "readings" in step.evidence] == ["open up", "clear", "weld"]
    assert work.find("clear").other_person
    assert {"strip", "grind", "weld"} <= work.that_need("open up")


@pytest.mark.parametrize("name", SHIPPED)
def test_every_caution_of_a_plan_that_ships_says_where_it_stands(name):
    marks = ("seen", "memory", "no source", "common practice", "differ")
    cautions = [one for step in load_work(name).step for one in step.caution]
    assert cautions
    assert [one for one in cautions if not any(mark in one.source for mark in marks)] == []


@pytest.mark.parametrize("name", SHIPPED)
def test_no_plan_that_ships_calls_anything_safe(name):
    assert "safe" not in load_work(name).text.casefold()


def test_a_shops_own_file_is_read_and_kept_word_for_word(tmp_path: Path):
    path = tmp_path / "trough.toml"
    path.write_text(plan(STEP))
    work = load_work(str(path))
    assert (work.name, work.title, work.text) == ("trough", "Own", plan(STEP))


@pytest.mark.parametrize("spelling", ["look over", "Look-Over", " look  over "])
def test_a_step_is_found_in_any_spelling(spelling):
    assert load_work("plain-part").find(spelling).name == "look over"


def test_a_step_that_is_not_there_is_named_with_those_that_are():
    with pytest.raises(WrongUse, match=r"wled: is no step of this job's plan.*intake, strip"):
        load_work("plain-part").find("wled")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("title = 1 [", "is no TOML file"),
        ('title = "Own"', "step: Field required"),
        ('title = "Own"\nstep = []', "at least 1 item"),
        (plan(STEP, STEP), "step clean is there twice"),
        (plan(STEP + 'needs = ["grind"]'), "names grind, which is no step above it"),
        (plan(STEP + 'needs = ["clean"]'), "names clean, which is no step above it"),
        (plan(STEP + 'within_hours_of = "weld"'), "names weld, which is no step above it"),
        (plan(STEP + "hours = 4"), "name it with within_hours_of"),
        (plan(STEP + "other_person = true"), "for hold points only"),
        (plan(STEP + "holdpoint = true"), "is not a name known here"),
        (plan(STEP + 'evidence = ["smell"]'), "'readings', 'leak' or 'wall'"),
        (plan(STEP.replace("clean", "Clean!")), "should match pattern"),
        (plan(STEP + "hours = nan\nwithin_hours_of = 'x'"), "step.0.hours"),
        (plan(STEP + "[[step.caution]]\ntext = 'Mind'"), "source: Field required"),
        (plan(STEP.replace('"Clean"', '"Cle\\u0000an"')), "should match pattern"),
        ("a=" + "[" * 5000, "is no TOML file"),
        ("# " + "x" * MOST_BYTES, "holds more than 16,000 bytes"),
    ],
)
def test_a_plan_that_cannot_be_used_is_told_in_one_line(text, said):
    with pytest.raises(BadSteps, match="own: ") as caught:
        parse_work(text, "own")
    assert said in caught.value.message
    assert "\n" not in caught.value.message


@pytest.mark.parametrize("what", ["barge", "../plans/open-vessel", "plan.yaml"])
def test_a_kind_of_work_that_is_not_there_is_told_with_those_that_are(what):
    with pytest.raises(BadSteps, match="Use one of closed-vessel, open-vessel, plain-part, or a file"):
        load_work(what)


def test_a_file_that_is_not_there_is_told():
    with pytest.raises(BadSteps, match="cannot be read"):
        load_work("nowhere.toml")
