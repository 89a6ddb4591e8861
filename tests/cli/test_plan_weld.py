"""Starting values for welding from the command line."""

from __future__ import annotations

import json

import pytest

from tests.command import Command

WELD = ("plan", "weld", "--thickness", "5 mm")


def test_rule_and_handbooks_stand_side_by_side(command: Command) -> None:
    done = command(*WELD, "--alloy", "5083", width=140)
    assert (done.code, done.err) == (0, "")
    assert "197 A" in done.out
    assert "190 to 234 A; 197 A lies in it" in done.out
    assert "qualified procedure rules" in done.out


def test_json_and_us_units(command: Command) -> None:
    done = command("plan", "weld", "--thickness", "3/16 in", "--alloy", "6061", "--units", "us", "--json")
    lines = {line["label"]: line["value"] for line in json.loads(done.out)["lines"]}
    assert lines["Argon"] == "15 to 21 cfh"
    assert lines["Cut edges"] == "take off at least 0.12 in of a plasma or laser cut edge"


def test_heat_input_with_voltage_and_speed(command: Command) -> None:
    done = command(*WELD, "--alloy", "5083", "--current", "150", "--voltage", "15", "--speed", "2 mm/s", "--json")
    plan = json.loads(done.out)
    assert plan["inputs"]["current"] == "150 A"
    assert ("Heat input", "0.675 kJ/mm") in [(line["label"], line["value"]) for line in plan["lines"]]


def test_a_casting_needs_a_person(command: Command) -> None:
    done = command(*WELD, "--alloy", "casting")
    assert done.code == 1
    assert "HOLD: Casting: it may not weld by the usual recipe" in done.out


def test_a_plan_is_logged(command: Command) -> None:
    command.open_job()
    assert command(*WELD, "--alloy", "5052", "--job", "1", "--person", "Mika").code == 0
    (event,) = json.loads(command("job", "show", "1", "--json").out)["events"]
    assert event["entry"]["what"] == "weld"
    assert event["entry"]["remarks"][0][0] == "warn"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--alloy", "tin"), "tin: the alloy is not one that is known here"),
        (("--alloy", "5083", "--service", "70"), "the service temperature has no unit"),
        (("--alloy", "5083", "--service", "-300 C"), "the service temperature is out of range"),
        (("--alloy", "5083", "--current", "nan"), "the current is out of range"),
        (("--alloy", "5083", "--current", "0"), "the current is out of range"),
        (("--alloy", "5083", "--voltage", "15"), "Give both, or neither"),
        (("--alloy", "5083", "--thickness", "5 kg"), "has a unit that is not one of"),
        (("--alloy", "5083", "--thickness", "5 m"), "the thickness is out of range"),
        ((), "Missing option '--alloy'"),
    ],
)
def test_what_is_wrong_is_one_line(command: Command, arguments: tuple[str, ...], says: str) -> None:
    done = command(*WELD, *arguments)
    assert (done.code, done.out) == (2, "")
    assert says in done.complaint
