"""Tables and JSON hold everything, in one system of units, and come back as they went."""

import csv
import io
import json
from dataclasses import replace

import pytest

from prepcheck.report.job.tables import csv_tables, in_units, json_of
from prepcheck.store.rows import LoggedEvent, Story
from prepcheck.trade import entries as e
from prepcheck.trade.units import PSI_PA, System
from tests.report.job import made


def rows(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


def unguarded(text):
    return text[1:] if text.startswith("'") else text


@pytest.fixture(scope="module")
def tables():
    return {name: rows(text) for name, text in csv_tables(made.told()).items()}


def test_every_inspection_is_a_row_with_spot_and_pass(tables):
    told = [(row["inspection"], row["spot"], row["pass_no"], row["standing"]) for row in tables["inspections"]]
    assert told == [
        ("1", "1", "1", "residue left"), ("2", "1", "2", "residue left"), ("3", "1", "3", "bright"),
        ("4", "2", "1", "residue left"), ("5", "2", "2", "cannot tell"),
    ]  # fmt: skip


def test_figures_come_back_to_the_last_digit(tables):
    for row in tables["inspections"]:
        record = made.records()[int(row["inspection"])]
        assert float(row["bright_share"]) == record.bright_share
        assert (float(row["interval_low"]), float(row["interval_high"])) == record.interval
        assert float(row["share_oxide"]) == record.spots[0].shares["oxide"]
        assert row["photo_sha256"] == record.photo.sha256


def test_every_entry_comes_back(tables):
    assert [int(row["entry"]) for row in tables["events"]] == [event.number for event in made.events()]
    for row, event in zip(tables["events"], made.events(), strict=True):
        entry = event.entry.model_dump(mode="json")
        for name, value in entry.items():
            told = unguarded(row[name])
            if value is None:
                assert told == ""
            elif isinstance(value, list | dict):
                assert json.loads(told) == value
            elif isinstance(value, float):
                assert float(told) == value
            else:
                assert told == str(value)


def test_steps_and_disagreements_are_tables_too(tables):
    assert {row["step"]: row["progress"] for row in tables["steps"]}["clear"] == "overridden"
    assert tables["disagreements"][0]["standing"] == "bright"


def test_a_job_without_anything_has_no_tables():
    assert csv_tables(made.empty()) == {}


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2", "@x", "'quoted"])
def test_what_a_spreadsheet_would_run_is_guarded(text):
    note = LoggedEvent(1, made.at(1), "Ola", "", e.Note(text=text))
    (row,) = rows(csv_tables(made.told(story=Story(made.JOB, (), (note,))))["events"])
    assert row["text"] == f"'{text}"


@pytest.mark.parametrize("text", ['a "quoted" word', "two, commas", "line\nbreak", "<script>", "ä漢"])
def test_any_other_text_comes_back(text):
    note = LoggedEvent(1, made.at(1), "Ola", "", e.Note(text=text))
    (row,) = rows(csv_tables(made.told(story=Story(made.JOB, (), (note,))))["events"])
    assert row["text"] == text


def test_us_tables_name_us_units_and_hold_no_metric_column():
    told = csv_tables(made.told(system=System.US))
    events = rows(told["events"])
    assert not [head for head in events[0] if head.endswith(("_mm", "_mm2", "_m3", "_pa", "_k", "_m"))]
    (first, _) = (row for row in events if row["kind"] == "wall_reading")
    assert float(first["wall_in"]) == pytest.approx(3.9 / 25.4)
    (leak,) = (row for row in events if row["kind"] == "leak_entry")
    assert float(leak["start_psi"]) == pytest.approx(20_700 / PSI_PA)
    assert float(leak["start_f"]) == pytest.approx(60.8)  # 289.15 K are 16 degrees Celsius; 16 x 9/5 + 32


def test_an_error_of_temperature_is_a_difference():
    assert in_units({"temperature_error_k": 0.5}, System.US) == {"temperature_error_f": 0.9}
    assert in_units({"start_k": 273.15}, System.US) == {"start_f": pytest.approx(32.0)}
    assert in_units({"wall_mm": None}, System.US) == {"wall_in": None}


def test_metric_rows_stay_as_they_are():
    row = {"wall_mm": 3.9, "start_k": 289.15, "person": "Ola"}
    assert in_units(row, System.METRIC) == row


def test_json_holds_job_spots_events_records_steps_checks_and_the_logs_head():
    told = json.loads(json_of(made.told()))
    assert told["job"]["number"] == "J-0007"
    assert told["invented"] is True
    assert told["log"] == {"size": 41, "root": made.HEAD.root}
    assert len(told["events"]) == len(made.events())
    assert [one["number"] for spot in told["spots"] for each in spot["passes"] for one in each["inspections"]] == [
        1, 2, 3, 4, 5,
    ]  # fmt: skip
    assert told["records"]["3"]["spots"][0]["bright_share"] == 0.991
    assert told["steps"][0]["step"] == "intake"
    assert {check["about"] for check in told["checks"]} == {"clearing", "steps", "wall"}


def test_json_holds_no_position():
    record = made.records()[1]
    there = record.model_copy(update={"photo": record.photo.model_copy(update={"position": (59.9, 10.7)})})
    assert "59.9" not in json_of(made.told(records={1: there}))


def test_json_of_hostile_texts_comes_back():
    told = made.hostile()
    assert json.loads(json_of(told))["job"]["title"] == told.story.job.title


def test_an_erased_entry_stays_a_row():
    told = made.told(story=replace(made.told().story, events=(LoggedEvent(3, made.at(1), "Ola", "", None),)))
    (row,) = rows(csv_tables(told)["events"])
    assert row["kind"] == "erased entry"
