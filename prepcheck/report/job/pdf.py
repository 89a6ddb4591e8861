"""Lays a report out as a PDF (PDF/A-2u). Importing this loads fpdf2, an optional part; adds nothing to what is said."""

from __future__ import annotations

import io
from datetime import datetime
from itertools import zip_longest

from fpdf import FPDF, FontFace
from fpdf.enums import DocumentCompliance, TableBordersLayout, WrapMode
from PIL import Image

from prepcheck import __version__
from prepcheck.report.card_sheet import Paper
from prepcheck.report.job.content import (
    Block,
    Chart,
    Facts,
    Ink,
    Lettering,
    Picture,
    Points,
    Report,
    Section,
    Signatures,
    Strip,
    Stroke,
    Table,
    Tone,
    Words,
)
from prepcheck.report.lettering import BOLD_FILE, FONT_FILE, covered

Colour = tuple[int, int, int]
INK: Colour = (22, 28, 38)
SOFT: Colour = (88, 96, 106)
FAINT: Colour = (206, 210, 214)
SHADE: Colour = (240, 242, 244)
ACCENT: Colour = (196, 62, 12)
_INKS = {Ink.INK: INK, Ink.FAINT: (168, 174, 180), Ink.ACCENT: ACCENT}
_SIDE, _TOP, _BOTTOM = 18.0, 25.0, 20.0
_BODY, _SMALL, _CELL = 9.2, 8.0, 7.8
_MM = 25.4 / 72
_TOGETHER, _LONG, _MOST_LINES = 12, 300, 40
"""Most lines of a paragraph kept on one page; characters of a cell that may need several rows; most lines of a row."""
_COLUMNS, _GAP = 3, 4.0
"""Most pictures side by side, and mm between them."""
_CHART_MM, _LARGE_MM, _STRIP_MM = 0.32, 96.0, 72.0
"""A unit of a chart; tallest single picture; tallest picture in a strip."""


def pdf_of(report: Report, paper: Paper = Paper.A4) -> bytes:
    """Return the report as a PDF with bookmarks, alt texts and embedded fonts; the same report gives the same bytes."""
    pdf = _Sheets(report, paper)
    pdf.add_page()
    _cover(pdf, report)
    for section, after in zip_longest(report.sections, report.sections[1:]):
        _section(pdf, section, after)
    return bytes(pdf.output())


class _Sheets(FPDF):  # type: ignore[misc]
    """Pages with the job's number and the time at the head, and the page's number at the foot."""

    def __init__(self, report: Report, paper: Paper) -> None:
        super().__init__(unit="mm", format=paper.value, enforce_compliance=DocumentCompliance.PDFA_2U)
        self.report = report
        self.add_font("body", "", str(FONT_FILE))
        self.add_font("body", "B", str(BOLD_FILE))
        self.set_title(covered(f"{report.name}: {report.title}"))
        self.set_creator(f"prepcheck {__version__}")
        self.set_producer(f"prepcheck {__version__}")
        self.set_lang("en-GB")
        self.set_creation_date(datetime.fromisoformat(report.written_at))
        self.set_margins(_SIDE, _TOP, _SIDE)
        self.c_margin = 0.0
        self.set_auto_page_break(True, _BOTTOM)
        self.set_line_width(0.2)

    @property
    def room(self) -> float:
        """Height left on this page, mm."""
        return float(self.h - _BOTTOM - self.get_y())

    def header(self) -> None:
        """Say on each page whose it is."""
        self.set_draw_color(*FAINT)
        self.ink(SOFT, _SMALL)
        self.set_xy(_SIDE, 11)
        left = self.fitted(covered(f"{self.report.job} · {self.report.title}"), self.epw - 72)
        self.cell(self.epw - 72, 5, left)
        self.cell(72, 5, covered(f"written {self.report.written}"), align="R")
        self.line(_SIDE, 17.5, self.w - _SIDE, 17.5)
        self.set_xy(_SIDE, _TOP)

    def footer(self) -> None:
        """Number the page."""
        self.set_draw_color(*FAINT)
        self.line(_SIDE, self.h - 15, self.w - _SIDE, self.h - 15)
        self.set_xy(_SIDE, self.h - 13.5)
        self.ink(SOFT, _SMALL)
        self.cell(self.epw - 34, 5, covered(self.report.origin))
        self.set_x(self.w - _SIDE - 30)
        self.cell(30, 5, f"page {self.page_no()} of {{nb}}", align="R")

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
        self, text: str, size: float = _BODY, *, colour: Colour = INK, bold: bool = False, lead: float = 1.5
    ) -> None:
        """Set a paragraph over the whole width."""
        self.ink(colour, size, bold)
        self.multi_cell(self.epw, size * _MM * lead, covered(text), align="L", new_x="LMARGIN", new_y="NEXT")

    def need(self, height: float) -> None:
        """Begin a new page unless `height` mm are left on this one."""
        if self.room < height:
            self.add_page()


def _cover(pdf: _Sheets, report: Report) -> None:
    pdf.start_section(covered(report.name))
    pdf.say("JOB REPORT", _SMALL, colour=ACCENT, bold=True)
    pdf.ln(1)
    pdf.say(report.title, 19, bold=True, lead=1.25)
    pdf.ln(3)
    if report.notice:
        _framed(pdf, report.notice)
    for block in report.cover:
        _block(pdf, block, "")


def _framed(pdf: _Sheets, text: str) -> None:
    pdf.set_draw_color(*ACCENT)
    pdf.ink(ACCENT, _BODY, bold=True)
    pdf.multi_cell(pdf.epw, 5.2, covered(text), border=1, align="L", padding=2, new_x="LMARGIN", new_y="NEXT")
    pdf.ln(3)


def _section(pdf: _Sheets, section: Section, after: Section | None) -> None:
    """Set a section; its head stays with what follows, also with the head of a section within it."""
    within = 34 + _ahead(pdf, after) if after is not None and after.level > section.level else 0.0
    pdf.need(22 + max(_ahead(pdf, section), within))
    pdf.ln(6 if section.level == 1 else 3)
    name = f"{section.number}  {section.title}".strip()
    pdf.start_section(covered(name), level=section.level - 1)
    pdf.say(name, 14 if section.level == 1 else 11.5, bold=True, lead=1.3)
    if section.level == 1:
        pdf.set_draw_color(*INK)
        pdf.line(_SIDE, pdf.get_y() + 0.6, pdf.w - _SIDE, pdf.get_y() + 0.6)
    pdf.ln(2.4)
    for block in section.blocks:
        _block(pdf, block, section.title)


def _ahead(pdf: _Sheets, section: Section) -> float:
    """Return how much room the beginning of a section needs below its head, mm."""
    match section.blocks[:1]:
        case (Strip() as strip,):
            columns = min(len(strip.pictures), _COLUMNS)
            return max(_size(pdf, one, columns)[1] for one in strip.pictures[:columns]) + 16
        case (Chart() as chart,):
            return _CHART_MM * chart.height + 14
        case _:
            return 20.0


def _block(pdf: _Sheets, block: Block, within: str) -> None:
    match block:
        case Words():
            _words(pdf, block)
        case Points():
            _points(pdf, block)
        case Facts():
            _facts(pdf, block, within)
        case Table():
            _table(pdf, block)
        case Strip():
            _strip(pdf, block)
        case Chart():
            _chart(pdf, block)
        case Signatures():
            _signatures(pdf, block)


def _words(pdf: _Sheets, words: Words) -> None:
    if words.tone is Tone.CAUTION:
        _barred(pdf, words.text)
    elif words.lead:
        _led(pdf, words)
    else:
        small = words.tone is Tone.SMALL
        pdf.say(words.text, _SMALL if small else _BODY, colour=SOFT if small else INK)
    pdf.ln(2)


def _led(pdf: _Sheets, words: Words) -> None:
    """Set a paragraph that begins in bold; kept with what follows."""
    pdf.need(18)
    pdf.ink(INK, _BODY, bold=True)
    pdf.write(4.9, covered(words.lead) + " ")
    pdf.ink(INK, _BODY)
    pdf.write(4.9, covered(words.text))
    pdf.ln(4.9)


def _barred(pdf: _Sheets, text: str) -> None:
    """Set a caution with a bar at its side."""
    pdf.ink(INK, _BODY)
    pdf.need(4.9 * len(_lines(pdf, covered(text), pdf.epw - 5)) + 2)
    top = pdf.get_y()
    pdf.set_x(_SIDE + 5)
    pdf.multi_cell(pdf.epw - 5, 4.9, covered(text), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.set_fill_color(*ACCENT)
    pdf.rect(_SIDE, top, 1.4, pdf.get_y() - top, style="F")


def _points(pdf: _Sheets, block: Points) -> None:
    for point in block.points:
        pdf.ink(INK, _BODY)
        pdf.need(4.9 * min(len(_lines(pdf, covered(point), pdf.epw - 5)), _TOGETHER) + 1)
        pdf.set_x(_SIDE)
        pdf.cell(5, 4.9, "•")
        pdf.multi_cell(pdf.epw - 5, 4.9, covered(point), align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.ln(0.8)
    pdf.ln(1.5)


def _facts(pdf: _Sheets, block: Facts, within: str) -> None:
    if block.title not in ("The job", within):
        _title(pdf, block.title, 22)
    label = 48.0
    _grid(pdf, block.rows, (label, pdf.epw - label), _BODY - 0.6, heads=())


def _table(pdf: _Sheets, block: Table) -> None:
    _title(pdf, block.title, 26)
    whole = sum(block.widths)
    _grid(pdf, block.rows, tuple(pdf.epw * width / whole for width in block.widths), _CELL, heads=block.heads)


def _title(pdf: _Sheets, text: str, room: float) -> None:
    pdf.need(room)
    pdf.say(text, _BODY, bold=True)
    pdf.ln(0.8)


def _grid(
    pdf: _Sheets, rows: tuple[tuple[str, ...], ...], widths: tuple[float, ...], size: float, *, heads: tuple[str, ...]
) -> None:
    """Set rows with thin lines between them; heads come again on each page. Without heads the first column is soft."""
    pdf.ink(INK, size)
    pdf.set_draw_color(*FAINT)
    pdf.set_fill_color(255)
    with pdf.table(
        col_widths=widths,
        align="LEFT",
        text_align="LEFT",
        v_align="TOP",
        line_height=size * _MM * 1.42,
        padding=(1.0, 1.6, 1.0, 0.8),
        borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        first_row_as_headings=bool(heads),
        num_heading_rows=1 if heads else 0,
        headings_style=FontFace(emphasis="BOLD", color=INK, fill_color=SHADE),
        wrapmode=WrapMode.WORD,
    ) as table:
        if heads:
            table.row([covered(head) for head in heads])
        for cells in (part for row in rows for part in _parts(pdf, row, widths)):
            row = table.row()
            for k, cell in enumerate(cells):
                row.cell(cell, style=None if heads or k else FontFace(color=SOFT))
    pdf.ln(3.5)


def _parts(pdf: _Sheets, row: tuple[str, ...], widths: tuple[float, ...]) -> list[tuple[str, ...]]:
    """Return a row as one or more, none of them taller than a page."""
    cells = [covered(cell) for cell in row]
    if max(map(len, cells)) < _LONG:
        return [tuple(cells)]
    lines = [_lines(pdf, cell, width - 2.6) for cell, width in zip(cells, widths, strict=True)]
    starts = range(0, max(map(len, lines)), _MOST_LINES)
    return [tuple("\n".join(cell[k : k + _MOST_LINES]) for cell in lines) for k in starts]


def _lines(pdf: _Sheets, text: str, width: float) -> list[str]:
    """Break a text into the lines that fit."""
    return list(pdf.multi_cell(width, 4, text, align="L", dry_run=True, output="LINES"))


def _strip(pdf: _Sheets, strip: Strip) -> None:
    columns = min(len(strip.pictures), _COLUMNS)
    for start in range(0, len(strip.pictures), _COLUMNS):
        _pictures(pdf, strip.pictures[start : start + _COLUMNS], columns)
    pdf.ln(2)


def _pictures(pdf: _Sheets, row: tuple[Picture, ...], columns: int) -> None:
    """Set pictures side by side with their captions below; all on one page."""
    across = _across(pdf, columns)
    sizes = [_size(pdf, picture, columns) for picture in row]
    pdf.ink(SOFT, _SMALL)
    told = [covered(picture.caption) for picture in row]
    lines = max(len(_lines(pdf, text, across)) for text in told)
    height = max(size[1] for size in sizes)
    pdf.need(height + 4 * lines + 4)
    top = pdf.get_y()
    for k, (picture, (width, tall), text) in enumerate(zip(row, sizes, told, strict=True)):
        x = _SIDE + k * (across + _GAP)
        pdf.image(Image.open(io.BytesIO(picture.jpeg)), x, top, width, tall, alt_text=covered(picture.alt))
        pdf.set_xy(x, top + height + 1)
        pdf.multi_cell(across, 4, text, align="L")
    pdf.set_xy(_SIDE, top + height + 4 * lines + 3)


def _across(pdf: _Sheets, columns: int) -> float:
    return float(pdf.epw - _GAP * (columns - 1)) / columns


def _size(pdf: _Sheets, picture: Picture, columns: int) -> tuple[float, float]:
    """Return the width and height of a picture in a row of `columns`, mm."""
    tallest = _LARGE_MM if columns == 1 else _STRIP_MM
    scale = min(_across(pdf, columns) / picture.width, tallest / picture.height)
    return picture.width * scale, picture.height * scale


def _chart(pdf: _Sheets, chart: Chart) -> None:
    scale = _CHART_MM
    pdf.need(scale * chart.height + 14)
    _title(pdf, chart.title, 10)
    left, top = _SIDE, pdf.get_y()
    for mark in chart.marks:
        if isinstance(mark, Stroke):
            _stroke(pdf, mark, left, top, scale)
        else:
            _letters(pdf, mark, left, top, scale)
    pdf.set_xy(_SIDE, top + scale * chart.height + 3)


def _stroke(pdf: _Sheets, mark: Stroke, left: float, top: float, scale: float) -> None:
    colour = _INKS[mark.ink]
    points = [(left + x * scale, top + y * scale) for x, y in mark.points]
    if len(set(points)) == 1:
        pdf.set_fill_color(*colour)
        pdf.circle(*points[0], mark.thick * scale / 2, style="F")
        return
    pdf.set_draw_color(*colour)
    pdf.set_line_width(mark.thick * scale)
    pdf.polyline(points)
    pdf.set_line_width(0.2)


def _letters(pdf: _Sheets, mark: Lettering, left: float, top: float, scale: float) -> None:
    pdf.ink(_INKS[mark.ink], mark.size * scale / _MM, mark.bold)
    text = covered(mark.text)
    shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor] * pdf.get_string_width(text)
    pdf.text(left + mark.at[0] * scale - shift, top + mark.at[1] * scale, text)


def _signatures(pdf: _Sheets, block: Signatures) -> None:
    pdf.need(22 * len(block.roles))
    for role in block.roles:
        pdf.ln(13)
        y, gap = pdf.get_y(), 5.0
        widths = [pdf.epw * 0.36, pdf.epw * 0.2, pdf.epw * 0.44 - 2 * gap]
        x = _SIDE
        for width, what in zip(widths, (f"{role}: name", "Date", "Signature"), strict=True):
            pdf.set_draw_color(*INK)
            pdf.line(x, y, x + width, y)
            pdf.ink(SOFT, _SMALL)
            pdf.text(x, y + 4, covered(what))
            x += width + gap
        pdf.set_xy(_SIDE, y + 6)
