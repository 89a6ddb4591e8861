"""The pages of a report's PDF: head and foot, lettering, room. Importing this loads fpdf2, an optional part."""

from __future__ import annotations

from datetime import datetime

from fpdf import FPDF
from fpdf.enums import DocumentCompliance

from prepcheck import __version__
from prepcheck.report.card_sheet import Paper
from prepcheck.report.job.content import Report
from prepcheck.report.job.xmp import xmp
from prepcheck.report.lettering import BOLD_FILE, FONT_FILE, covered

Colour = tuple[int, int, int]
INK: Colour = (22, 28, 38)
SOFT: Colour = (88, 96, 106)
FAINT: Colour = (206, 210, 214)
BODY, SMALL = 9.2, 8.0
"""Sizes of lettering, points."""
SIDE = 18.0
"""Margin at either side, mm."""
MM = 25.4 / 72
_TOP, _BOTTOM = 25.0, 20.0
_PAGES = "\u2003\u2003"
"""Stands for the number of pages until it is known: blanks that `covered` lets through from no text."""


class Sheets(FPDF):  # type: ignore[misc]
    """Pages with the job's number and the time at the head, and the page's number at the foot."""

    def __init__(self, report: Report, paper: Paper) -> None:
        super().__init__(unit="mm", format=paper.value, enforce_compliance=DocumentCompliance.PDFA_2U)
        self.report = report
        self.add_font("body", "", str(FONT_FILE))
        self.add_font("body", "B", str(BOLD_FILE))
        self._describe(covered(f"{report.name}: {report.title}"), datetime.fromisoformat(report.written_at))
        self.set_margins(SIDE, _TOP, SIDE)
        self.c_margin = 0.0
        self.set_auto_page_break(True, _BOTTOM)
        self.alias_nb_pages(_PAGES)
        self.set_line_width(0.2)

    def _describe(self, title: str, at: datetime) -> None:
        program = f"prepcheck {__version__}"
        self.set_title(title)
        self.set_creator(program)
        self.set_producer(program)
        self.set_lang("en-GB")
        self.set_creation_date(at)
        self.set_xmp_metadata(xmp(title=title, program=program, at=at))

    @property
    def room(self) -> float:
        """Height left on this page, mm."""
        return float(self.h - _BOTTOM - self.get_y())

    def header(self) -> None:
        """Say on each page whose it is."""
        self.set_draw_color(*FAINT)
        self.ink(SOFT, SMALL)
        self.set_xy(SIDE, 11)
        left = self.fitted(covered(self.report.head), self.epw - 72)
        self.cell(self.epw - 72, 5, left)
        self.cell(72, 5, covered(f"written {self.report.written}"), align="R")
        self.line(SIDE, 17.5, self.w - SIDE, 17.5)
        self.set_xy(SIDE, _TOP)

    def footer(self) -> None:
        """Number the page."""
        self.set_draw_color(*FAINT)
        self.line(SIDE, self.h - 15, self.w - SIDE, self.h - 15)
        self.set_xy(SIDE, self.h - 13.5)
        self.ink(SOFT, SMALL)
        self.cell(self.epw - 34, 5, covered(self.report.origin))
        self.set_x(self.w - SIDE - 30)
        self.cell(30, 5, f"page {self.page_no()} of {_PAGES}", align="R")

    def ink(self, colour: Colour, size: float, bold: bool = False) -> None:
        """Choose the lettering."""
        self.set_text_color(*colour)
        self.set_font("body", "B" if bold else "", size)

    def fitted(self, text: str, width: float) -> str:
        """Return `text`, cut with dots where it is wider than `width`."""
        if self.get_string_width(text) <= width:
            return text
        while text and self.get_string_width(f"{text}...") > width:
            text = text[:-1]
        return f"{text}..."

    def say(
        self, text: str, size: float = BODY, *, colour: Colour = INK, bold: bool = False, lead: float = 1.5
    ) -> None:
        """Set a paragraph over the whole width."""
        self.ink(colour, size, bold)
        self.multi_cell(self.epw, size * MM * lead, covered(text), align="L", new_x="LMARGIN", new_y="NEXT")

    def need(self, height: float) -> None:
        """Begin a new page unless `height` mm are left on this one."""
        if self.room < height:
            self.add_page()
