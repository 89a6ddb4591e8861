"""The wall plan from the command line, and what all plans share there."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.command import Command

DEPTH = ("plan", "wall", "--nominal", "5 mm", "--depth", "1.2 mm")


def told(command: Command, *arguments: str, code: int = 0) -> dict[str, Any]:
    done = command(*arguments, "--json")
    assert (done.code, done.err) == (code, "")
    (line,) = done.out.splitlines()
    return dict(json.loads(line))


def test_the_plan_is_a_table_with_sources_and_remarks(command: Command) -> None:
    done = command(*DEPTH, "--area", "900 mm2", "--regime", "recreational", width=140)
    assert (done.code, done.err) == (0, "")
    assert "3.80 mm ± 0.32 mm" in done.out
    assert "ABYC as reported" in done.out
    assert "WARN: The nominal wall was not measured" in done.out


def test_json_has_inputs_lines_and_remarks(command: Command) -> None:
    plan = told(command, *DEPTH)
    assert plan["inputs"] == {"nominal": "5 mm", "depth": "1.2 mm"}
    assert plan["lines"][0]["value"] == "3.80 mm ± 0.32 mm"
    assert {one["weight"] for one in plan["remarks"]} == {"warn", "note"}


def test_units_of_both_systems_are_read_and_one_is_shown(command: Command) -> None:
    plan = told(command, "plan", "wall", "--nominal", "3/16 in", "--depth", "1 mm", "--units", "us")
    assert plan["lines"][0]["value"] == "0.148 in ± 0.012 in"


def test_several_readings_are_given_one_by_one(command: Command) -> None:
    plan = told(command, "plan", "wall", "--gauge", "4 mm", "--gauge", "3.8 mm", "--before", "5 mm")
    assert plan["inputs"] == {"gauge": "4 mm, 3.8 mm", "before": "5 mm"}
    assert plan["lines"][1]["value"] == "mean 3.90 mm, most 4.00 mm, of 2 readings"


def test_a_wall_below_the_chosen_minimum_needs_a_person(command: Command) -> None:
    plan = told(command, *DEPTH, "--regime", "passenger", code=1)
    assert plan["remarks"][0]["weight"] == "hold"


def test_a_plan_is_logged_in_a_job_by_a_person(command: Command) -> None:
    command.open_job()
    done = command(*DEPTH, "--job", "1", "--person", "Ola")
    assert done.code == 0
    assert done.out.endswith("Logged in job J-0001.\n")
    (event,) = json.loads(command("job", "show", "1", "--json").out)["events"]
    assert (event["person"], event["entry"]["kind"], event["entry"]["what"]) == ("Ola", "plan_made", "wall")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--job", "1"), "Give both --job and --person, or neither"),
        (("--job", "7", "--person", "Ola"), "J-0007: no such job"),
        (("--area", "900"), "900: the area has no unit"),
        (("--area", "-9 mm2"), "-9.00 mm2 (-0.0140 in2): the area is out of range"),
        (("--minimum", "0 mm"), "the minimum is out of range"),
        (("--regime", "shop"), "has no number here"),
        (("--regime", "other"), "is not one of"),
        (("--units", "both"), "is not one of"),
        (("--gauge", "4 mm"), "two ways to the wall left"),
    ],
)
def test_what_is_wrong_is_one_line(command: Command, arguments: tuple[str, ...], says: str) -> None:
    command.open_job()
    done = command(*DEPTH, *arguments)
    assert (done.code, done.out) == (2, "")
    assert says in done.complaint


def test_help_of_every_plan_names_its_options(command: Command) -> None:
    assert "--nominal" in command("plan", "wall", "--help").out


def test_the_shops_units_hold_unless_others_are_asked_for(command: Command) -> None:
    (command.folder / "shop.toml").write_text('[report]\nunits = "us"\n')
    plan = told(command, *DEPTH, "--settings", "shop.toml")
    assert plan["lines"][0]["value"] == "0.150 in ± 0.013 in"  # 3.8 mm / 25.4; 0.32 mm / 25.4
    plan = told(command, *DEPTH, "--settings", "shop.toml", "--units", "metric")
    assert plan["lines"][0]["value"] == "3.80 mm ± 0.32 mm"


def test_on_a_narrow_screen_the_source_stands_under_the_value(command: Command) -> None:
    lines = command(*DEPTH, width=50).out.splitlines()
    assert max(map(len, lines)) <= 50
    (at,) = (number for number, line in enumerate(lines) if "3.80 mm ± 0.32 mm" in line)
    assert lines[at + 1].strip().startswith("(nominal wall less")
    assert any(line.split() == ["nominal", "5", "mm", "(given)"] for line in lines)


def test_on_a_wide_screen_the_source_stands_beside_the_value(command: Command) -> None:
    (line,) = (line for line in command(*DEPTH, width=120).out.splitlines() if "3.80 mm ± 0.32 mm" in line)
    assert "nominal wall less depth" in line
