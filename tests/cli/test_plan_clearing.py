"""The clearing plan from the command line."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from tests.command import Command

DRY_ICE = ("plan", "clearing", "--volume", "150 gal", "--contents", "diesel", "--method", "dry-ice")
NITROGEN = (*DRY_ICE[:-1], "nitrogen")


def told(command: Command, *arguments: str) -> dict[str, Any]:
    done = command(*arguments, "--json")
    assert (done.code, done.err) == (0, "")
    (line,) = done.out.splitlines()
    return dict(json.loads(line))


def values(plan: dict[str, Any]) -> dict[str, str]:
    return {line["label"]: line["value"] for line in plan["lines"]}


def test_first_lines_come_before_any_figure_and_who_decides_comes_last(command: Command) -> None:
    done = command(*DRY_ICE, width=120)
    assert (done.code, done.err) == (0, "")
    first, figure = done.out.index("Replace it, or repair it cold"), done.out.index("well mixed")
    assert first < figure < done.out.index("WARN: Aluminium dust explodes in CO2, and in air")
    assert "Whoever the law names decides" in done.out.splitlines()[-1] + done.out.splitlines()[-2]


@pytest.mark.parametrize("method", ["dry-ice", "co2", "nitrogen", "argon", "ventilate", "water"])
def test_nothing_is_called_safe(command: Command, method: str) -> None:
    assert re.search(r"\bsafe", command(*DRY_ICE[:-1], method).out, re.IGNORECASE) is None


@pytest.mark.parametrize("width", [32, 40, 200])
def test_the_plan_fits_the_terminal(command: Command, width: int) -> None:
    lines = command(*DRY_ICE, "--room", "3000 ft3", width=width).out.splitlines()
    assert max(map(len, lines)) <= width


# 150 gal by the rule of 1.5 lb per 100 gal: 2.25 lb (Maine 06-096 CMR 691 App. J, seen; table 4.9).
def test_the_rule_of_thumb_is_told_in_us_units(command: Command) -> None:
    plan = told(command, *DRY_ICE, "--units", "us")
    assert values(plan)["Dry ice by rule of thumb"].startswith("2.25 lb")
    assert plan["inputs"]["volume"] == "150 gal"
    assert plan["inputs"]["temperature"] == "68.0 F"


def test_inputs_in_us_units_are_told_in_metric_ones(command: Command) -> None:
    plan = told(command, *NITROGEN, "--flow", "40 cfh", "--room", "2000 ft3", "--temperature", "68 F")
    assert plan["inputs"] == {
        "volume": "568 L", "contents": "diesel", "method": "nitrogen", "vessel": "other", "temperature": "20.0 C",
        "flow": "18.9 L/min", "room": "56.6 m3",
    }  # fmt: skip


def test_target_price_flow_and_vessel_are_taken_up(command: Command) -> None:
    plan = told(
        command, *NITROGEN, "--target", "5", "--price", "2 EUR/m3", "--flow", "20 L/min", "--vessel", "farm-tank"
    )
    lines = values(plan)
    assert lines["Below 5 % oxygen"].startswith("well mixed: 1.430 vessel volumes")  # table 4.23, computed
    assert lines["Cost"] == "1.62 EUR"
    assert lines["Time at this flow"] == "40.6 min"
    assert "name the rule" in lines["Who decides"]


def test_the_shops_setting_gives_the_target(command: Command) -> None:
    (command.folder / "shop.toml").write_text("[clearing]\noxygen_target = 6.0\n")
    plan = told(command, *NITROGEN, "--settings", "shop.toml")
    assert "Below 6 % oxygen" in values(plan)
    done = command(*NITROGEN, "--settings", "shop.toml", "--target", "7")
    assert (done.code, done.out) == (2, "")
    assert done.complaint == "7 %: the target must be over 0 and at most the shop's 6 % oxygen. Give it or a lower one."


def test_a_plan_is_logged_word_for_word(command: Command) -> None:
    command.open_job()
    done = command(*DRY_ICE, "--job", "1", "--person", "Ola")
    assert (done.code, done.err) == (0, "")
    assert done.out.endswith("Logged in job J-0001.\n")
    (event,) = json.loads(command("job", "show", "1", "--json").out)["events"]
    assert (event["person"], event["entry"]["kind"], event["entry"]["what"]) == ("Ola", "plan_made", "clearing")
    printed = told(command, *DRY_ICE)
    assert event["entry"]["inputs"] == printed["inputs"]
    assert [label for label, _ in event["entry"]["lines"]] == [line["label"] for line in printed["lines"]]
    assert len(event["entry"]["remarks"]) == len(printed["remarks"])


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((*DRY_ICE[:2], "--contents", "diesel", "--method", "co2"), "Missing option '--volume'"),
        (("plan", "clearing", "--volume", "150", *DRY_ICE[4:]), "150: the volume has no unit"),
        (("plan", "clearing", "--volume", "150 kg", *DRY_ICE[4:]), "the volume has a unit that is not one of"),
        (("plan", "clearing", "--volume", "0 L", *DRY_ICE[4:]), "the volume is out of range"),
        (("plan", "clearing", "--volume=-5 L", *DRY_ICE[4:]), "the volume is out of range"),
        (("plan", "clearing", "--volume", "9e9 gal", *DRY_ICE[4:]), "the volume is out of range"),
        (("plan", "clearing", "--volume", "nan L", *DRY_ICE[4:]), "the volume is no number with a unit"),
        ((*DRY_ICE, "--temperature", "-300 C"), "the temperature is out of range"),
        ((*DRY_ICE, "--temperature", "68"), "the temperature has no unit"),
        ((*DRY_ICE, "--flow", "20 L/min"), "dry ice has no flow"),
        ((*NITROGEN, "--flow", "0 L/min"), "the flow is out of range"),
        ((*DRY_ICE, "--target", "9"), "at most the shop's 8 %"),
        ((*DRY_ICE, "--target", "nan"), "over 0"),
        ((*DRY_ICE, "--price", "cheap"), "the price is not an amount"),
        ((*DRY_ICE, "--room", "0 m3"), "the room is out of range"),
        ((*DRY_ICE[:-1], "helium"), "'helium' is not one of"),
        ((*DRY_ICE[:-1], "water", "--price", "1/kg"), "water has no use for: price"),
        ((*DRY_ICE, "--job", "1"), "a plan is logged in a job by a person"),
    ],
)
def test_what_is_wrong_is_one_line(command: Command, arguments: tuple[str, ...], says: str) -> None:
    done = command(*arguments)
    assert (done.code, done.out) == (2, "")
    assert says in done.complaint


def test_unprintable_contents_are_shown_escaped(command: Command) -> None:
    done = command(*DRY_ICE[:5], "diesel\x1b[2J", *DRY_ICE[6:])
    assert "\x1b" not in done.out
    assert "\\x1b" in done.out
