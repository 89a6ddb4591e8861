"""The last pages name every origin once, and every entry in a line."""

import pytest

from prepcheck.report.job import ending
from prepcheck.report.job.content import Facts, Table
from prepcheck.store.rows import LoggedEvent, Story
from prepcheck.trade import entries as e
from prepcheck.trade.units import System
from tests.report.job import made
from tests.report.job.said import of_section


def facts(section):
    return {block.title: dict(block.rows) for block in section.blocks if isinstance(block, Facts)}


def line_of(entry, **changes):
    event = LoggedEvent(1, made.at(1), "Ola", "", entry)
    (table,) = ending.entries(made.told(story=Story(made.JOB, (), (event,)), **changes)).blocks
    return table.rows[0][3]


def test_answers_of_one_origin_stand_together():
    origins = facts(ending.origin(made.told()))
    assert origins["Answers of inspections 1, 2, 3, 4, 5"]["Model's SHA-256"] == made.MODEL


def test_an_answer_of_another_model_stands_apart():
    records = dict(made.records())
    origin = records[3].origin.model_copy(update={"model": "ground-4", "model_sha256": "c3" * 32})
    records[3] = records[3].model_copy(update={"origin": origin})
    origins = facts(ending.origin(made.told(records=records)))
    assert origins["Answers of inspections 1, 2, 4, 5"]["Model"] == "ground-3"
    assert origins["Answers of inspections 3"]["Model"] == "ground-4"


def test_an_answer_whose_record_is_not_there_is_told_in_brief():
    origins = facts(ending.origin(made.told(records={})))
    assert origins["Answer of inspection 2"]["Program and model"] == "prepcheck 0.1.0, ground-3"


def test_every_photo_is_named_by_its_hash():
    (table,) = (block for block in ending.origin(made.told()).blocks if isinstance(block, Table))
    assert [row[2] for row in table.rows] == [made.records()[k].photo.sha256 for k in range(1, 6)]


def test_without_a_head_the_report_says_that_it_is_not_known():
    assert "not known when this report was written" in of_section(ending.origin(made.empty()))


def test_the_report_says_what_it_does_not_compute():
    assert "no score and no reading is computed again" in facts(ending.origin(made.told()))["This report"]["Figures"]


@pytest.mark.parametrize(
    ("entry", "line"),
    [
        (made.CONDITION, "condition ventilated, held diesel"),
        (e.StepReleased(step="clear", override=True, reason="dry"), "clear released by override"),
        (None, "erased for a lawful reason; its hash stays in the log"),
    ],
)
def test_each_entry_is_told_in_brief(entry, line):
    assert line_of(entry) == line


def test_a_line_is_in_the_reports_units():
    told = "wall 0.173 in of 0.197 in left at filler neck, spot 2"  # 4.40 / 25.4
    assert line_of(made.WALLS[1], system=System.US) == told


def test_a_signature_says_only_that_somebody_read_it():
    said = " ".join(of_section(ending.signatures(made.told())))
    assert "has read this report" in said
    assert "J-0007" in said
    assert "2026-11-24 15:30 UTC+01:00" in said
