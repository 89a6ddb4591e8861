"""The leak test from the command line."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.command import Command

LEAK = ("plan", "leak", "--head", "1.2 m", "--contents", "diesel", "--volume", "500 L")
WATCHED = (
    "--pressure", "20.7 kPa", "--end-pressure", "18.0 kPa", "--temperature", "20 C", "--end-temperature", "19 C", "--watched",
    "30 min", "--air-pressure", "1013 mbar", "--end-air-pressure", "1012 mbar",
)  # fmt: skip


def lines_of(command: Command, *arguments: str) -> dict[str, str]:
    done = command(*LEAK, *arguments, "--json")
    return {line["label"]: line["value"] for line in json.loads(done.out)["lines"]}


def remarks_of(command: Command, *arguments: str) -> dict[str, Any]:
    done = command(*LEAK, *arguments, "--json")
    return {one["code"]: one["weight"] for one in json.loads(done.out)["remarks"]}


def test_pressure_rules_and_stored_energy_are_shown(command: Command) -> None:
    done = command(*LEAK, width=220)
    assert (done.code, done.err) == (0, "")
    assert "20.7 kPa: the greater of 20.7 kPa and 1.5 x head = 15.0 kPa" in done.out
    assert "7.88 kJ: lifts 80 kg by 10 m" in done.out
    assert "does not take" in done.out


def test_us_units_are_shown_when_asked_for(command: Command) -> None:
    lines = lines_of(command, "--units", "us")
    assert lines["Pressure reckoned with below"] == "3.00 psi"
    assert lines["A change of 1.8 F moves it by"] == "0.0604 psi at 68 F"


def test_readings_tell_a_loss_with_its_error_and_are_no_leak_check(command: Command) -> None:
    lines = lines_of(command, *WATCHED)
    assert lines["Look 1, absolute pressure fell"] == "2.80 kPa as read, 2.39 kPa at the temperature of the start"
    assert lines["Look 1, loss"].endswith("a loss stands out from the error")
    assert remarks_of(command, *WATCHED)["only_watched"] == "warn"


def test_a_leak_that_was_seen_needs_a_person(command: Command) -> None:
    done = command(*LEAK, "--leak", "port seam", "--leak", "filler neck", "--looked-at", "all seams", width=160)
    assert done.code == 1
    assert "leak at port seam; filler neck" in done.out
    assert "HOLD: The last look saw a leak" in done.out


def test_a_pressure_over_the_stated_limit_needs_a_person(command: Command) -> None:
    done = command(*LEAK, "--most", "2 psi")
    assert done.code == 1
    assert "HOLD: The pressure is over the 13.8 kPa" in done.out


def test_looks_in_the_jobs_log_are_told_in_order(command: Command) -> None:
    command.open_job()
    seen = ("log", "leak", "1", "bubbles", "--leak", "port seam", "--looked-at", "all seams", "--person", "Ola")
    assert command(*seen).code == 0
    assert command("log", "leak", "1", "bubbles", "--looked-at", "all seams", "--person", "Ola").code == 0
    lines = lines_of(command, "--job", "1", "--person", "Ola")
    assert (lines["Look 1, seen"], lines["Look 2, seen"]) == ("leak at port seam", "no leak where it was looked at")


def test_a_plan_is_logged(command: Command) -> None:
    command.open_job()
    assert command(*LEAK, "--medium", "water", "--job", "1", "--person", "Rune").code == 0
    (event,) = json.loads(command("job", "show", "1", "--json").out)["events"]
    assert (event["entry"]["what"], event["entry"]["inputs"]["medium"]) == ("leak", "water")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--head", "4"), "4: the head has no unit"),
        (("--head", "-4 ft"), "the head is out of range"),
        (("--volume", "0 L"), "the volume is out of range"),
        (("--volume", "5 kg"), "has a unit that is not one of"),
        (("--contents", "molasses"), "molasses: its density is not known here"),
        (("--medium", "oxygen"), "is not one of"),
        (("--pressure", "50 bar"), "the pressure is out of range"),
        (
            ("--pressure", "20 kPa", "--end-air-pressure", "1013 mbar"),
            "Give that at the start too, or neither (--air-pressure)",
        ),
        (("--watched", "0 s"), "the readings cannot be used: seconds"),
        (("--temperature", "-300 C"), "the readings cannot be used: start k"),
        ((*WATCHED, "--watched", "-5 min"), "the readings cannot be used: seconds"),
        (("--leak", "x" * 300), "the readings cannot be used: leaks"),
    ],
)
def test_what_is_wrong_is_one_line(command: Command, arguments: tuple[str, ...], says: str) -> None:
    done = command(*LEAK, *arguments)
    assert (done.code, done.out) == (2, "")
    assert says in done.complaint
