"""The feedback sheet: one page, plain words, own pictures."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from prepcheck.errors import WrongUse
from prepcheck.progress.gather import PersonWork
from prepcheck.progress.tally import Tally
from prepcheck.progress.work import Beside
from prepcheck.report.card_sheet import Paper
from prepcheck.report.feedback import one_page, sheet_of, write_sheet
from prepcheck.report.feedback_tool import PointErrors, SceneErrors, ToolErrors
from prepcheck.report.job.content import Chart, Facts, Report, Strip, Words
from prepcheck.report.job.page import page_of
from prepcheck.settings import ProgressSettings
from prepcheck.terms import HOT_WORK_LINE, Standing
from tests.progress.made import shot, spots_of
from tests.report.apprentice import photo, states, work
from tests.report.job.pdf_text import pages

NOW = datetime(2026, 11, 28, 19, 0, tzinfo=UTC)
CASES = SceneErrors("invented scenes of our own", Tally(1, 30), Tally(1, 3))
ERRORS = [
    ToolErrors(
        name, (CASES, replace(CASES, of="scenes of another program")), (PointErrors("photographs", 19, 0.1, 0.0, 0.3),)
    )
    for name in ("eye-8", "eye-9")
]
LIVES = ("rb", "b", "c", "rrb", "b", "t", "r", "b", "b", "rb", "b", "b", "b", "rr")
FULL: PersonWork = work(
    *LIVES * 17,
    name="M" * 40 + " " + "W" * 39,
    patches=("rim", "middle", "large", "rim", "large"),
    beside=Beside({(Standing.RESIDUE_LEFT, Standing.BRIGHT): 3, (Standing.BRIGHT, Standing.RESIDUE_LEFT): 2}),
)
"""As much as a sheet can have to say."""


def sheet(told: PersonWork, errors: list[ToolErrors] = ERRORS, **more: Any) -> Report:
    return sheet_of(told, errors, NOW, ProgressSettings(), photo, states, **more)


def rows(report: Report) -> dict[str, str]:
    return {label: said for block in report.cover if isinstance(block, Facts) for label, said in block.rows}


def words(report: Report) -> str:
    return " ".join(block.text for block in report.cover if isinstance(block, Words))


def test_the_sheet_says_how_the_spots_went() -> None:
    told = rows(sheet(work("rb", "b", "c", "b", patches=("rim",))))
    assert told["Bright at the first pass"] == "2 of 3 spots, too few to tell"
    assert told["Counted apart, no misses"] == "1 cannot tell"
    assert told["Passes until bright"] == "1 pass: 2, 2 passes: 1; not bright yet: 1 after 1 pass"
    assert told["Left most often"] == "residual oxide, at the rim: 1 of 1, too few to tell"


def test_the_sheet_says_what_to_look_for_next_by_what_was_left() -> None:
    told = rows(sheet(work("r", "r", patches=("rim", "rim"))))
    assert {"oxide", "the rim"} <= told.keys()
    assert "pits" not in told


def test_what_the_person_saw_otherwise_is_said() -> None:
    assert rows(sheet(FULL))["Where you disagreed"].startswith("3 x tool residue left, person bright")


def test_the_tools_own_errors_and_the_cautions_stand_on_every_sheet() -> None:
    for told in (FULL, work()):
        said = words(sheet(told))
        assert HOT_WORK_LINE in said
        assert "Spots differ" in said
        assert "prepcheck people kept" in said
        assert "Model eye-9 on photos that it never learned from: truly dirty and called bright, 1 of 30" in said


def test_the_sheet_bears_no_grade_and_promises_nothing() -> None:
    report = sheet(FULL)
    said = f"{words(report)} {' '.join(rows(report).values())}".lower()
    assert not {"safe", "passed", "failed", "grade:", "best", "worst"} & set(said.split())


def test_a_person_without_spots_gets_a_sheet_that_says_so() -> None:
    report = sheet(work())
    assert [block.title for block in report.cover if isinstance(block, Facts)] == ["No spots yet"]
    assert not any(isinstance(block, Chart | Strip) for block in report.cover)


def test_invented_jobs_are_marked_as_invented() -> None:
    made = replace(work("b"), spots=tuple(spots_of([shot(1, title="Seam (invented demo)")])))
    assert sheet(made).notice.startswith("Invented demo data")
    assert sheet(work("b")).notice == ""


@pytest.mark.parametrize("paper", list(Paper))
def test_a_usual_sheet_is_one_page_with_chart_and_pictures(paper: Paper) -> None:
    report = replace(sheet(replace(FULL, name="Mika"), ERRORS[:1]), notice="Invented demo data")
    pdf = one_page(report, paper)
    assert len(pages(pdf)) == 1
    assert pdf.count(b"/Subtype /Image") >= 3


@pytest.mark.parametrize("paper", list(Paper))
def test_the_fullest_sheet_is_one_page_with_all_its_words(paper: Paper) -> None:
    (page,) = pages(one_page(replace(sheet(FULL), notice="Invented demo data"), paper))
    assert HOT_WORK_LINE in page
    assert "Where you disagreed" in page


class Texts(HTMLParser):
    """Collects the texts of a page, the words instead of pictures, and addresses."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.links: list[str] = []
        self.alts: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        self.links += [value for key in ("href", "src") if (value := told.get(key))]
        self.alts += [told["alt"] or ""] if tag == "img" else []

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def test_the_page_needs_nothing_else_and_says_each_picture_in_words() -> None:
    page = Texts(page_of(sheet(FULL)))
    assert all(link.startswith("data:image/jpeg;base64,") for link in page.links)
    assert len(page.alts) == 3
    assert all(page.alts)


def test_a_name_is_text_and_never_markup() -> None:
    page = page_of(sheet(work("b", name="<b>Mika</b>")))
    assert "<b>Mika" not in page
    assert "<b>Mika</b>" in Texts(page).texts


def test_the_file_is_written_as_its_name_says(tmp_path: Path) -> None:
    for name, start in (("a.pdf", b"%PDF"), ("a.HTML", b"<!DOCTYPE html>")):
        write_sheet(sheet(work("b")), tmp_path / name, Paper.A4)
        assert (tmp_path / name).read_bytes().startswith(start)


@pytest.mark.parametrize("name", ["a.docx", "a", ".pdf.txt"])
def test_another_kind_of_file_is_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="is no kind of file for a sheet"):
        write_sheet(sheet(work("b")), tmp_path / name, Paper.A4)
    assert not (tmp_path / name).exists()
