"""Lays a report out as a PDF (PDF/A-2u). Importing this loads fpdf2, an optional part; adds nothing to what is said."""

from __future__ import annotations

import io
from itertools import zip_longest

from fpdf import FontFace
from fpdf.enums import TableBordersLayout, WrapMode
from PIL import Image

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
from prepcheck.report.job.sheets import BODY, FAINT, INK, MM, SIDE, SMALL, SOFT, Colour, Sheets
from prepcheck.report.lettering import covered

SHADE: Colour = (240, 242, 244)
ACCENT: Colour = (196, 62, 12)
_INKS = {Ink.INK: INK, Ink.FAINT: (168, 174, 180), Ink.ACCENT: ACCENT}
_CELL = 7.8
_TOGETHER, _LONG, _MOST_LINES = 12, 300, 40
"""Most lines of a paragraph kept on one page; characters of a cell that may need several rows; most lines of a row."""
_WHOLE_MM = 80.0
"""Up to this height a list of facts is kept on one page."""
_COLUMNS, _GAP = 3, 4.0
"""Most pictures side by side, and mm between them."""
_CHART_MM, _LARGE_MM, _STRIP_MM = 0.26, 96.0, 72.0
"""A unit of a chart; tallest single picture; tallest picture in a strip."""


def pdf_of(report: Report, paper: Paper = Paper.A4) -> bytes:
    """Return the report as a PDF with bookmarks, alt texts and embedded fonts; the same report gives the same bytes."""
    pdf = Sheets(report, paper)
    pdf.add_page()
    _cover(pdf, report)
    for section, after in zip_longest(report.sections, report.sections[1:]):
        _section(pdf, section, after)
    return bytes(pdf.output())


def _cover(pdf: Sheets, report: Report) -> None:
    pdf.start_section(covered(report.name))
    pdf.say(report.kind.upper(), SMALL, colour=ACCENT, bold=True)
    pdf.ln(1)
    pdf.say(report.title, 19, bold=True, lead=1.25)
    pdf.ln(3)
    if report.notice:
        _framed(pdf, report.notice)
    for block in report.cover:
        _block(pdf, block, "")


def _framed(pdf: Sheets, text: str) -> None:
    pdf.set_draw_color(*ACCENT)
    pdf.ink(ACCENT, BODY, bold=True)
    pdf.multi_cell(pdf.epw, 5.2, covered(text), border=1, align="L", padding=2, new_x="LMARGIN", new_y="NEXT")
    pdf.ln(3)


def _section(pdf: Sheets, section: Section, after: Section | None) -> None:
    """Set a section; its head stays with what follows, also with the head of a section within it."""
    within = 34 + _ahead(pdf, after) if after is not None and after.level > section.level else 0.0
    pdf.need(22 + max(_ahead(pdf, section), within))
    pdf.ln(6 if section.level == 1 else 3)
    name = f"{section.number}  {section.title}".strip()
    pdf.start_section(covered(name), level=section.level - 1)
    pdf.say(name, 14 if section.level == 1 else 11.5, bold=True, lead=1.3)
    if section.level == 1:
        pdf.set_draw_color(*INK)
        pdf.line(SIDE, pdf.get_y() + 0.6, pdf.w - SIDE, pdf.get_y() + 0.6)
    pdf.ln(2.4)
    for block in section.blocks:
        _block(pdf, block, section.title)


def _ahead(pdf: Sheets, section: Section) -> float:
    """Return how much room the beginning of a section needs below its head, mm."""
    match section.blocks[:1]:
        case (Strip() as strip,):
            columns = min(len(strip.pictures), _COLUMNS)
            return max(_size(pdf, one, columns)[1] for one in strip.pictures[:columns]) + 16
        case (Chart() as chart,):
            return _CHART_MM * chart.height + 14
        case (Facts() as facts,):
            return max(20.0, _whole(pdf, facts))
        case _:
            return 20.0


def _block(pdf: Sheets, block: Block, within: str) -> None:
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


def _words(pdf: Sheets, words: Words) -> None:
    if words.tone is Tone.CAUTION:
        _barred(pdf, words.text)
    elif words.lead:
        _led(pdf, words)
    else:
        small = words.tone is Tone.SMALL
        pdf.say(words.text, SMALL if small else BODY, colour=SOFT if small else INK)
    pdf.ln(2)


def _led(pdf: Sheets, words: Words) -> None:
    """Set a paragraph that begins in bold; kept with what follows."""
    pdf.need(32)
    pdf.ink(INK, BODY, bold=True)
    pdf.write(4.9, covered(words.lead) + " ")
    pdf.ink(INK, BODY)
    pdf.write(4.9, covered(words.text))
    pdf.ln(4.9)


def _barred(pdf: Sheets, text: str) -> None:
    """Set a caution with a bar at its side."""
    pdf.ink(INK, BODY)
    pdf.need(4.9 * len(_lines(pdf, covered(text), pdf.epw - 5)) + 2)
    top = pdf.get_y()
    pdf.set_x(SIDE + 5)
    pdf.multi_cell(pdf.epw - 5, 4.9, covered(text), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.set_fill_color(*ACCENT)
    pdf.rect(SIDE, top, 1.4, pdf.get_y() - top, style="F")


def _points(pdf: Sheets, block: Points) -> None:
    for point in block.points:
        pdf.ink(INK, BODY)
        pdf.need(4.9 * min(len(_lines(pdf, covered(point), pdf.epw - 5)), _TOGETHER) + 1)
        pdf.set_x(SIDE)
        pdf.cell(5, 4.9, "•")
        pdf.multi_cell(pdf.epw - 5, 4.9, covered(point), align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.ln(0.8)
    pdf.ln(1.5)


def _facts(pdf: Sheets, block: Facts, within: str) -> None:
    pdf.need(_whole(pdf, block))
    if block.title not in ("The job", within):
        _title(pdf, block.title, 22)
    _grid(pdf, block.rows, _facts_widths(pdf), BODY - 0.6, heads=())


def _facts_widths(pdf: Sheets) -> tuple[float, float]:
    return 48.0, pdf.epw - 48.0


def _whole(pdf: Sheets, block: Facts) -> float:
    """Return how much room a list of facts needs to stay whole, mm; none where it is too long for that."""
    size, widths = BODY - 0.6, _facts_widths(pdf)
    pdf.ink(INK, size)
    lines = [
        max(len(_lines(pdf, covered(cell), width - 2.6)) for cell, width in zip(row, widths, strict=True))
        for row in block.rows
    ]
    height = sum(count * size * MM * 1.42 + 1.8 for count in lines) + 8
    return height if height < _WHOLE_MM else 0.0


def _table(pdf: Sheets, block: Table) -> None:
    _title(pdf, block.title, 26)
    whole = sum(block.widths)
    _grid(pdf, block.rows, tuple(pdf.epw * width / whole for width in block.widths), _CELL, heads=block.heads)


def _title(pdf: Sheets, text: str, room: float) -> None:
    pdf.need(room)
    pdf.say(text, BODY, bold=True)
    pdf.ln(0.8)


def _grid(
    pdf: Sheets, rows: tuple[tuple[str, ...], ...], widths: tuple[float, ...], size: float, *, heads: tuple[str, ...]
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
        line_height=size * MM * 1.42,
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


def _parts(pdf: Sheets, row: tuple[str, ...], widths: tuple[float, ...]) -> list[tuple[str, ...]]:
    """Return a row as one or more, none of them taller than a page."""
    cells = [covered(cell) for cell in row]
    if max(map(len, cells)) < _LONG:
        return [tuple(cells)]
    lines = [_lines(pdf, cell, width - 2.6) for cell, width in zip(cells, widths, strict=True)]
    starts = range(0, max(map(len, lines)), _MOST_LINES)
    return [tuple("\n".join(cell[k : k + _MOST_LINES]) for cell in lines) for k in starts]


def _lines(pdf: Sheets, text: str, width: float) -> list[str]:
    """Break a text into the lines that fit."""
    return list(pdf.multi_cell(width, 4, text, align="L", dry_run=True, output="LINES"))


def _strip(pdf: Sheets, strip: Strip) -> None:
    columns = min(len(strip.pictures), _COLUMNS)
    for start in range(0, len(strip.pictures), _COLUMNS):
        _pictures(pdf, strip.pictures[start : start + _COLUMNS], columns)
    pdf.ln(2)


def _pictures(pdf: Sheets, row: tuple[Picture, ...], columns: int) -> None:
    """Set pictures side by side with their captions below; all on one page."""
    across = _across(pdf, columns)
    sizes = [_size(pdf, picture, columns) for picture in row]
    pdf.ink(SOFT, SMALL)
    told = [covered(picture.caption) for picture in row]
    lines = max(len(_lines(pdf, text, across)) for text in told)
    height = max(size[1] for size in sizes)
    pdf.need(height + 4 * lines + 4)
    top = pdf.get_y()
    for k, (picture, (width, tall), text) in enumerate(zip(row, sizes, told, strict=True)):
        x = SIDE + k * (across + _GAP)
        pdf.image(Image.open(io.BytesIO(picture.jpeg)), x, top, width, tall, alt_text=covered(picture.alt))
        pdf.set_xy(x, top + height + 1)
        pdf.multi_cell(across, 4, text, align="L")
    pdf.set_xy(SIDE, top + height + 4 * lines + 3)


def _across(pdf: Sheets, columns: int) -> float:
    return float(pdf.epw - _GAP * (columns - 1)) / columns


def _size(pdf: Sheets, picture: Picture, columns: int) -> tuple[float, float]:
    """Return the width and height of a picture in a row of `columns`, mm."""
    tallest = _LARGE_MM if columns == 1 else _STRIP_MM
    scale = min(_across(pdf, columns) / picture.width, tallest / picture.height)
    return picture.width * scale, picture.height * scale


def _chart(pdf: Sheets, chart: Chart) -> None:
    scale = _CHART_MM
    pdf.need(scale * chart.height + 14)
    _title(pdf, chart.title, 10)
    left, top = SIDE, pdf.get_y()
    for mark in chart.marks:
        if isinstance(mark, Stroke):
            _stroke(pdf, mark, left, top, scale)
        else:
            _letters(pdf, mark, left, top, scale)
    pdf.set_xy(SIDE, top + scale * chart.height + 3)


def _stroke(pdf: Sheets, mark: Stroke, left: float, top: float, scale: float) -> None:
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


def _letters(pdf: Sheets, mark: Lettering, left: float, top: float, scale: float) -> None:
    pdf.ink(_INKS[mark.ink], mark.size * scale / MM, mark.bold)
    text = covered(mark.text)
    shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor] * pdf.get_string_width(text)
    pdf.text(left + mark.at[0] * scale - shift, top + mark.at[1] * scale, text)


def _signatures(pdf: Sheets, block: Signatures) -> None:
    pdf.need(22 * len(block.roles))
    for role in block.roles:
        pdf.ln(13)
        y, gap = pdf.get_y(), 5.0
        widths = [pdf.epw * 0.36, pdf.epw * 0.2, pdf.epw * 0.44 - 2 * gap]
        x = SIDE
        for width, what in zip(widths, (f"{role}: name", "Date", "Signature"), strict=True):
            pdf.set_draw_color(*INK)
            pdf.line(x, y, x + width, y)
            pdf.ink(SOFT, SMALL)
            pdf.text(x, y + 4, covered(what))
            x += width + gap
        pdf.set_xy(SIDE, y + 6)
