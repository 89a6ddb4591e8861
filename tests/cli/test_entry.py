"""Entries on the command line: quantities with units, times, and what is told again."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.shop import Shop
from tests.tasks.shop import new_shop

READING = ["reading", "1", "oxygen", "20.9", "--place", "sump", "--person", "Ola"]


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    new_shop(tmp_path)
    return Shop(tmp_path)


def entry(shop: Shop, *arguments: str, at: float = 60) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(shop.good("log", *arguments, "--json", at=at))
    return dict(told["entry"])


def test_a_reading_is_logged_with_meter_sensor_place_and_height(shop):
    meter = [
        "--meter",
        "meter 4",
        "--sensor",
        "electrochemical",
        "--calibration-gas",
        "air",
        "--calibrated",
        "2026-11-01",
    ]
    told = entry(shop, *READING, "--height", "8 in", *meter, "--due", "2027-05-01", "--blind-to-hydrogen")
    assert told == {
        "kind": "gas_reading", "gas": "oxygen", "value": 20.9, "place": "sump", "height_m": pytest.approx(0.2032), "of": "",
        "meter": "meter 4", "sensor": "electrochemical", "calibration_gas": "air", "factor": 1.0,
        "calibrated_on": "2026-11-01", "calibration_due": "2027-05-01", "sees_hydrogen": False, "limit": None,
        "limit_source": "", "taken_at": "2026-11-24T09:00:00Z",
    }  # fmt: skip


def test_a_reading_may_be_written_with_a_comma(shop):
    assert entry(shop, "reading", "1", "oxygen", "20,9", "--place", "sump", "--person", "Ola")["value"] == 20.9


def test_a_toxic_reading_carries_the_limit_that_the_person_names(shop):
    limit = ["--of", "benzene", "--limit", "1", "--limit-source", "the shop's rule"]
    told = entry(shop, "reading", "1", "toxic", "0.2", "--place", "sump", "--person", "Ola", *limit)
    assert (told["of"], told["limit"], told["limit_source"]) == ("benzene", 1.0, "the shop's rule")


def test_a_condition_is_logged(shop):
    more = ["--water-gap", "1 in", "--room-ventilated", "--no-hydrogen", "--bays", "3", "--cleaning", "steamed"]
    told = entry(shop, "condition", "1", "water-filled", "--previous-contents", "diesel", "--person", "Ola", *more)
    assert (told["condition"], told["water_gap_mm"], told["bays"]) == ("water-filled", 25.4, 3)
    assert (told["room_ventilated"], told["hydrogen_possible"], told["cleaning_done"]) == (True, False, "steamed")


def test_hydrogen_is_possible_unless_somebody_rules_it_out(shop):
    told = entry(shop, "condition", "1", "ventilated", "--previous-contents", "water", "--person", "Ola")
    assert told["hydrogen_possible"] is True


def test_a_certificate_names_who_and_which_rule(shop):
    rule = [
        "--by",
        "the yard's Marine Chemist",
        "--rule",
        "29 CFR 1915.14",
        "--number",
        "M 7",
        "--place",
        "at the hatch",
    ]
    told = entry(shop, "certificate", "1", *rule, "--person", "Ola")
    assert (told["certified_by"], told["rule"], told["number"], told["place"]) == (
        "the yard's Marine Chemist", "29 CFR 1915.14", "M 7", "at the hatch",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("told", "method", "wall", "depth"),
    [
        (["--gauge", "3.2 mm"], "gauge", 3.2, None),
        (["--nominal", "5 mm", "--depth", "1.8 mm"], "depth", 3.2, 1.8),
        (["--before", "4.9 mm", "--gauge", "3.2 mm"], "before_after", 3.2, 1.7),
        (["--gauge", "1/8 in"], "gauge", 3.175, None),
    ],
)
def test_the_wall_that_is_left_comes_from_what_was_measured(shop, told, method, wall, depth):
    found = entry(shop, "wall", "1", *told, "--spot", "2", "--person", "Ola")
    assert (found["method"], found["spot"], found["wall_mm"]) == (method, 2, pytest.approx(wall))
    assert found["depth_mm"] == (None if depth is None else pytest.approx(depth))


def test_a_look_for_leaks_is_logged_in_the_units_that_prepcheck_computes_in(shop):
    more = ["--pressure", "3 psi", "--temperature", "68 F", "--watched", "10 min", "--volume", "80 gal"]
    told = entry(shop, "leak", "1", "bubbles", "--leak", "lower seam", "--leak", "bung", *more, "--person", "Ola")
    assert told["start_pa"] == pytest.approx(20_684, abs=1)  # 3 psi = 20.684 kPa, computed
    assert (told["start_k"], told["seconds"], told["volume_m3"]) == (
        pytest.approx(293.15),
        600,
        pytest.approx(0.302833, abs=1e-6),
    )
    assert told["leaks"] == ["lower seam", "bung"]


def test_the_pressure_of_the_air_is_logged_at_both_ends(shop):
    told = ["--air-pressure", "1013 mbar", "--end-air-pressure", "1009 mbar", "--person", "Ola"]
    found = entry(shop, "leak", "1", "decay", *told)
    assert (found["ambient_pa"], found["end_ambient_pa"]) == (pytest.approx(101_300), pytest.approx(100_900))


def test_a_pressure_of_the_air_at_the_end_alone_is_refused(shop):
    said = shop("log", "leak", "1", "decay", "--end-air-pressure", "1009 mbar", "--person", "Ola")
    assert (said.code, said.err.count("\n")) == (2, 1)
    assert "read only at the end" in said.err


def test_a_job_is_shown_in_the_units_of_the_shop_or_in_others(shop):
    shop.good("log", "wall", "1", "--gauge", "25.4 mm", "--person", "Ola")
    assert "wall 1.00 in left; by gauge" in shop.good("job", "show", "1", "--units", "us")
    assert "wall 25.4 mm left; by gauge" in shop.good("job", "show", "1")
    (shop.folder / "us.toml").write_text('[report]\nunits = "us"\n')
    assert "wall 1.00 in left; by gauge" in shop.good("job", "show", "1", "--settings", shop.folder / "us.toml")


def test_a_note_is_logged_and_shown_with_the_job(shop):
    assert shop.good("log", "note", "1", "new disc", "--person", "Ola", at=5) == "Logged as entry 1: note: new disc\n"
    assert "1  2026-11-24 08:05  Ola: note: new disc" in shop.good("job", "show", "1", at=6)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (READING, "oxygen 20.9 % by volume at sump; 09:00; sensor other"),
        (
            ["condition", "1", "ventilated", "--previous-contents", "diesel", "--person", "Ola"],
            "condition ventilated, held diesel",
        ),
        (["wall", "1", "--gauge", "3.2 mm", "--person", "Ola"], "wall 3.20 mm left; by gauge"),
        (["leak", "1", "water", "--person", "Ola"], "water held, no leak seen; not told where it was looked"),
        (["certificate", "1", "--by", "A", "--rule", "B", "--person", "Ola"], "certified by A under B"),
    ],
)
def test_what_was_logged_is_said_back_in_one_line(shop, arguments, said):
    assert shop.good("log", *arguments, at=60) == f"Logged as entry 1: {said}\n"


@pytest.mark.parametrize("when", ["08:30", "2026-11-24 08:30", "2026-11-24T08:30:00+00:00", "2026-11-24T09:30+01:00"])
def test_a_time_may_be_written_in_several_ways(shop, monkeypatch, when):
    monkeypatch.setenv("TZ", "UTC")
    told = entry(shop, *READING, "--at", when)
    assert told["taken_at"] in ("2026-11-24T08:30:00Z", "2026-11-24T09:30:00+01:00")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([*READING[:3], "-5", *READING[4:]], "no number below zero goes here"),
        ([*READING[:3], "nan", *READING[4:]], "value: Input should be a finite number"),
        ([*READING[:3], "twenty", *READING[4:]], "twenty: the reading is no number"),
        ([*READING[:3], "1,234.5", *READING[4:]], "1,234.5: the reading is no number"),
        ([*READING[:3], "120", *READING[4:]], "120: a reading of oxygen goes from 0 to 100"),
        ([*READING, "--height", "8"], "the height has no unit"),
        ([*READING, "--height", "8 kg"], "the height has a unit that is not one of"),
        ([*READING, "--at", "09:30"], "taken at lies in the future"),
        ([*READING, "--at", "soon"], "soon: the time of the reading is no time"),
        ([*READING, "--calibrated", "1.11.2026"], "1.11.2026: the day of calibration is no day"),
        ([*READING, "--factor", "0"], "the factor goes from"),
        ([*READING, "--place", "x" * 201], "place: String should have at most 200 characters"),
        (["reading", "1", "smell", "1", "--place", "x", "--person", "Ola"], "'smell' is not one of"),
        (["wall", "1", "--person", "Ola"], "this does not tell one wall"),
        (["wall", "1", "--gauge", "3 mm", "--depth", "2 mm", "--person", "Ola"], "this does not tell one wall"),
        (
            ["wall", "1", "--nominal", "3 mm", "--depth", "3 mm", "--person", "Ola"],
            "wall mm: Input should be greater than 0",
        ),
        (
            ["wall", "1", "--before", "3 mm", "--gauge", "4 mm", "--person", "Ola"],
            "depth mm: Input should be greater than",
        ),
        (["wall", "1", "--gauge", "-3 mm", "--person", "Ola"], "greater than 0"),
        (["note", "1", " ", "--person", "Ola"], "text is empty"),
        (["note", "1", "x", "--person", " "], "the person's name is empty"),
        (["note", "77", "x", "--person", "Ola"], "J-0077: no such job"),
        (["note", "1", "x", "--person", "Mika", "--pin-file", "Rune.pin"], "Mika: this is not the PIN"),
    ],
)
def test_what_is_wrong_is_one_line_and_logs_nothing(shop, monkeypatch, arguments, said):
    monkeypatch.chdir(shop.folder)
    done = shop("log", *arguments, at=60)
    assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
    assert said in done.err
    assert json.loads(shop.good("job", "show", "1", "--json"))["events"] == []
