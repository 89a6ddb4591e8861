"""The PDF says all that the content says, on numbered pages, in a form that keeps."""

import re

import pytest

from prepcheck.report.card_sheet import Paper
from prepcheck.report.job.build import report_of
from prepcheck.report.job.pdf import pdf_of
from prepcheck.report.lettering import covered
from prepcheck.trade.units import System
from tests.report.job import made, pdf_text
from tests.report.job.said import texts


def joined(text):
    return "".join(covered(text).split())


@pytest.fixture(scope="module")
def report():
    return report_of(made.told())


@pytest.fixture(scope="module")
def pdf(report):
    return pdf_of(report)


def test_the_pdf_says_everything_that_the_content_says(report, pdf):
    said = pdf_text.text(pdf)
    assert [text for text in texts(report) if joined(text) not in said] == []


@pytest.mark.parametrize("told", [made.empty, made.hostile, lambda: made.told(system=System.US)])
def test_other_jobs_are_told_as_fully(told):
    report = report_of(told())
    said = pdf_text.text(pdf_of(report, Paper.LETTER))
    short = [text for text in texts(report) if len(text) < 300]  # longer ones may go over a page, with its head between
    missing = [text for text in short if joined(text) not in said and not cut_by_a_page(joined(text), said)]
    assert missing == []


def cut_by_a_page(text, said):
    """Say whether both halves of a text are there: a row of it may lie over a page's end."""
    return any(text[:k] in said and text[k:] in said for k in range(8, len(text) - 8))


def test_every_page_names_job_time_log_and_its_number(pdf):
    pages = pdf_text.pages(pdf)
    for number, page in enumerate(pages, start=1):
        assert page.startswith("J-0007 · Diesel bowser, leak at the lower seam (invented demo)")
        assert "written 2026-11-24 15:30 UTC+01:00" in page
        assert page.endswith(f"log of 41 entries, head {made.HEAD.root[:16]} page {number} of {len(pages)}")


def test_the_same_report_gives_the_same_bytes(report, pdf):
    assert pdf_of(report) == pdf


def test_it_says_that_it_is_pdf_a_and_embeds_its_fonts_and_colours(pdf):
    assert b"<pdfaid:part>2</pdfaid:part>" in pdf
    assert b"<pdfaid:conformance>U</pdfaid:conformance>" in pdf
    assert b"/OutputIntents" in pdf
    assert pdf.count(b"/FontFile2") == 2
    assert b"/JavaScript" not in pdf
    assert b"/URI" not in pdf


def test_it_can_be_read_aloud(pdf):
    assert b"/MarkInfo" in pdf or b"/StructTreeRoot" in pdf
    assert pdf.count(b"/Alt ") >= 5


def test_every_section_has_a_bookmark(report, pdf):
    titles = re.findall(rb"/Title \((.*?)\)\n", pdf, re.S)
    assert len(titles) >= len(report.sections) + 1  # and the whole


@pytest.mark.parametrize(("paper", "size"), [(Paper.A4, (595.28, 841.89)), (Paper.LETTER, (612, 792))])
def test_pages_have_the_size_asked_for(paper, size):
    (box,) = set(re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf_of(report_of(made.empty()), paper)))
    assert tuple(float(side) for side in box) == pytest.approx(size, abs=0.02)


def test_no_text_is_lost_on_a_row_that_is_taller_than_a_page():
    report = report_of(made.hostile())
    assert pdf_text.text(pdf_of(report)).count("W") >= 2 * 2000  # the reason stands twice: in the log, and as override


def test_what_the_font_lacks_shows_as_question_marks():
    assert "Customer'snumber???ŝpuro" in pdf_text.text(pdf_of(report_of(made.hostile()))).replace(" ", "")
