"""Steps on the command line, and where a job stands at a glance."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.shop import Shop
from tests.tasks.shop import SHORT, new_shop


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """The command line in the workshop; the job has the short plan."""
    new_shop(tmp_path)
    shop = Shop(tmp_path)
    (tmp_path / "short.toml").write_text(SHORT)
    shop.good("step", "plan", "1", tmp_path / "short.toml", "--person", "Ola")
    return shop


@pytest.fixture
def held(shop: Shop) -> Shop:
    """The same, with the hold point waiting."""
    shop.good("step", "done", "1", "clean", "--person", "Ola", at=1)
    shop.good("step", "done", "1", "clear", "--person", "Ola", at=5)
    return shop


def lines(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.splitlines()]


def test_a_new_job_says_how_to_choose_its_steps(shop):
    assert "prepcheck step plan J-0002 closed-vessel --person NAME" in shop.good("job", "new", "Lid", "--person", "Ola")


def test_a_chosen_plan_is_said_back_with_its_steps(tmp_path):
    new_shop(tmp_path)
    said = lines(Shop(tmp_path).good("step", "plan", "1", "plain-part", "--person", "Ola"))
    assert said[0] == "The plan is plain-part. Entry 1 of J-0001, Ola."
    assert {"[>] intake next", "[ ] weld open", "[ ] look over open"} <= set(said)


def test_a_plan_that_ships_can_be_saved_and_changed(shop):
    text = shop.good("step", "template", "plain-part")
    (shop.folder / "mine.toml").write_text(text.replace("Plain part", "Our part"))
    pin = ("--pin-file", shop.pin_file("Mika"))
    assert "Steps: Our part" in shop.good("step", "plan", "1", shop.folder / "mine.toml", "--person", "Mika", *pin)


def test_each_progress_has_its_mark(held):
    held.good("step", "release", "1", "clear", *held.as_("Mika"), at=6)
    said = lines(held.good("job", "show", "1", at=7))
    assert "[x] clean done by Ola, 2026-11-24 08:01" in said
    assert "[x] clear released by Mika (releaser), 2026-11-24 08:06" in said
    assert "[>] weld next" in said
    assert "[ ] look over open" in said


def test_a_hold_point_that_waits_has_its_mark(held):
    assert "[?] clear done by Ola, 2026-11-24 08:05; waits for a named person" in lines(
        held.good("job", "show", "1", at=6)
    )


def test_an_override_shows_what_spoke_against_it_and_the_reason(shop):
    reason = ("--override", "--reason", "cleaned at the yard")
    shop.good("step", "release", "1", "clear", *shop.as_("Mika"), *reason, at=6)
    said = " ".join(shop.good("job", "show", "1", at=7).split())
    assert (
        "[!] clear released by Mika (releaser), 2026-11-24 08:06 although: Nobody said that the step clear is done."
        in said
    )
    assert "although: The step clean comes first and is not done. because: cleaned at the yard" in said


def test_time_that_ran_out_stands_out(held):
    held.good("step", "release", "1", "clear", *held.as_("Mika"), at=6)
    said = " ".join(held.good("job", "show", "1", at=300).split())
    assert "Ran out of time weld, held up: 4 h 59 min went by after the step clean; the limit is 4 h 00 min." in said
    assert "Mathers" in said


def test_time_that_is_left_is_shown(held):
    held.good("step", "release", "1", "clear", *held.as_("Mika"), at=6)
    said = " ".join(held.good("job", "show", "1", at=181).split())
    assert "note: 1 h 00 min of 4 h 00 min after the step clean are left, until 2026-11-24 12:01." in said


def test_time_that_is_left_is_shown_while_other_steps_still_come_first(held):
    said = " ".join(held.good("job", "show", "1", at=61).split())
    assert "weld, note: 3 h 00 min of 4 h 00 min after the step clean are left, until 2026-11-24 12:01." in said


def test_a_clock_that_was_moved_back_stands_out(held):
    assert "The clock held up: The clock says 2026-11-24 07:00" in " ".join(
        held.good("job", "show", "1", at=-60).split()
    )


def test_a_step_that_was_opened_again_says_so(held):
    said = held.good("step", "reopen", "1", "clean", "--person", "Ola", "--reason", "rain", at=10)
    assert "[>] clean next; opened again by Ola: rain" in lines(said)


def test_the_steps_keep_within_a_narrow_screen(held):
    assert max(map(len, held("job", "show", "1", at=300, width=50).out.splitlines())) <= 50


def test_the_steps_are_in_the_json_of_a_job(held):
    told = json.loads(held.good("job", "show", "1", "--json", at=6))
    assert [(one["step"]["name"], one["progress"]) for one in told["steps"]["steps"]] == [
        ("clean", "done"), ("clear", "held"), ("weld", "open"), ("look over", "open"),
    ]  # fmt: skip
    assert [event["entry"]["kind"] for event in told["events"]] == ["work_chosen", "step_done", "step_done"]


def test_a_job_without_a_plan_has_no_steps_in_its_json(tmp_path):
    new_shop(tmp_path)
    assert json.loads(Shop(tmp_path).good("job", "show", "1", "--json"))["steps"] is None


def test_an_entry_is_printed_as_one_line_of_json(shop):
    told = json.loads(
        shop.good("step", "done", "1", "clean", "--person", "Ola", "--note", "both sides", "--json", at=1)
    )
    assert (told["number"], told["entry"]["note"], told["person"]) == (2, "both sides", "Ola")


def test_work_that_began_earlier_is_told_with_its_time(held):
    held.good("step", "release", "1", "clear", *held.as_("Mika"), at=6)
    told = held.good("step", "done", "1", "weld", "--person", "Ola", "--started", "08:30", "--json", at=300)
    assert json.loads(told)["entry"]["started_at"].startswith("2026-11-24T08:30")


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (
            ["done", "1", "weld", "--person", "Ola"],
            1,
            "weld: held up. The step clear has to be released first. Settle this",
        ),
        (["done", "1", "wled", "--person", "Ola"], 2, "wled: is no step of this job's plan"),
        (["done", "9", "weld", "--person", "Ola"], 2, "J-0009: no such job"),
        (["done", "1", "clean", "--person", "Ola", "--started", "late"], 2, "late: the start is no time"),
        (["done", "1", "clean", "--person", "Ola", "--started", "23:00"], 2, "cannot have begun in the future"),
        (["release", "1", "clear", "--person", "Ola"], 2, "Ola: this needs the PIN of a releaser"),
        (["release", "1", "clean", "--person", "Mika", "--pin-file", "Mika.pin"], 2, "clean: is no hold point"),
        (["release", "1", "clear", "--person", "Mika", "--pin-file", "Rune.pin"], 2, "Mika: this is not the PIN"),
        (
            ["release", "1", "clear", "--person", "Mika", "--pin-file", "quick.toml"],
            2,
            "holds no PIN, or more than a line",
        ),
        (["release", "1", "clear", "--person", "Mika", "--pin-file", "none"], 2, "cannot be read"),
        (["reopen", "1", "weld", "--person", "Ola", "--reason", "x"], 2, "weld: is open"),
        (["plan", "1", "barge", "--person", "Ola"], 2, "barge: is no kind of work"),
    ],
)
def test_what_is_wrong_is_one_line_with_its_exit_code(held, monkeypatch, arguments, code, said):
    monkeypatch.chdir(held.folder)
    done = held("step", *arguments, at=10)
    assert (done.code, done.out, done.err.count("\n")) == (code, "", 1)
    assert said in done.err


def test_the_pin_may_come_from_the_surroundings(held):
    assert "Logged as released" in held.good(
        "step", "release", "1", "clear", "--person", "Mika", at=6, PREPCHECK_PIN="1357"
    )


def test_five_wrong_pins_lock_on_the_command_line_too(held):
    for _ in range(5):
        assert (
            "this is not the PIN"
            in held("step", "release", "1", "clear", "--person", "Mika", PREPCHECK_PIN="0000", at=6).err
        )
    locked = held("step", "release", "1", "clear", *held.as_("Mika"), at=7)
    assert (locked.code, "Mika: is locked after 5 wrong PINs. Try again after 08:21." in locked.err) == (2, True)


def test_what_people_typed_is_never_read_as_markup(shop):
    shop.good("step", "done", "1", "clean", "--person", "[bold]Ola[/bold]", "--note", "[red]x[/red]", at=1)
    said = shop.good("job", "show", "1", at=2)
    assert "[bold]Ola[/bold]" in said
    assert "[red]x[/red]" in said
