"""The scale card to print: a PDF sheet in true size, all of it vectors, and a PNG of the card alone."""

from __future__ import annotations

import io
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from prepcheck import __version__
from prepcheck.errors import WrongUse
from prepcheck.photo import card_design as design
from prepcheck.photo.card_image import card_image
from prepcheck.report.files import write_whole
from prepcheck.terms import HOT_WORK_LINE

if TYPE_CHECKING:
    from fpdf import FPDF

DPI = 600
MARGIN = 3.0
"""White around the card in the PNG, mm."""
TOP = 44.0
"""From the upper edge of the sheet to the card, mm."""
_POINT = 72 / design.INCH
_SIDE = 24.0
_CUT_GREY = 150

STEPS = (
    'Print this page at 100 % ("actual size", never "fit to page") on matt white paper. Gloss mirrors the lamp.',
    "Measure the checking line with a steel rule. If it is not 100 mm long, write its true length into the settings "
    "file:  [card]  check_line_mm = 99.4  and give that file with --settings.",
    "Cut along the broken line. Glue the card to something stiff and flat.",
    "Lay it flat on the metal beside the spot, in the same plane, out of glare. All four corners in view, the card at "
    "least a twentieth of the picture wide; a fifth is better.",
    "Print a new one when it is stained, creased or bent. Take it away before any hot work.",
)


class Paper(StrEnum):
    """Paper sizes."""

    A4 = "a4"
    LETTER = "letter"


def write_card(folder: Path, paper: Paper) -> tuple[Path, Path]:
    """Write the card into `folder`, which is made when missing.

    Parameters
    ----------
    folder : Path
        Where to write.
    paper : Paper
        Size of the sheet.

    Returns
    -------
    tuple of Path
        The PDF and the PNG (card alone, 600 dpi).

    Raises
    ------
    WrongUse
        The optional part for PDFs is not installed; the PNG is written all the same.
    CannotWrite
        The folder or the files cannot be written.
    """
    png, pdf = folder / "scale_card.png", folder / f"scale_card_{paper}.pdf"
    write_whole(png, card_png())
    write_whole(pdf, card_pdf(paper))
    return pdf, png


def card_png() -> bytes:
    """Draw the card at 600 dpi with a thin grey frame to cut along, as a PNG that knows its dpi."""
    px_per_mm = DPI / design.INCH
    card = card_image(px_per_mm)
    border = round(MARGIN * px_per_mm)
    page = np.pad(np.pad(card, 2, constant_values=_CUT_GREY), border - 2, constant_values=255)
    data = io.BytesIO()
    Image.fromarray(page).save(data, "PNG", dpi=(DPI, DPI), optimize=True)
    return data.getvalue()


def card_pdf(paper: Paper) -> bytes:
    """Draw the sheet: the card in true size in a broken line to cut along, and how to use it.

    Raises
    ------
    WrongUse
        The optional part for PDFs is not installed.
    """
    pdf = _sheet(paper)
    left = (pdf.w - design.WIDTH) / 2
    _head(pdf)
    _draw_card(pdf, left, TOP)
    _cut_line(pdf, left, TOP)
    _steps(pdf, TOP + design.HEIGHT + 16)
    return bytes(pdf.output())


def _sheet(paper: Paper) -> FPDF:
    try:
        from fpdf import FPDF
        from fpdf.prefs import ViewerPreferences
    except ImportError as error:
        raise WrongUse(
            "the PDF of the scale card needs the optional part 'report'",
            "Install it (pip install 'prepcheck[report]'), or print scale_card.png at 600 dpi",
        ) from error
    pdf = FPDF(unit="mm", format=paper.value)
    pdf.set_title(f"prepcheck scale card, version {design.VERSION}")
    pdf.set_creator(f"prepcheck {__version__}")
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
    pdf.set_auto_page_break(False)
    pdf.add_page()
    return pdf


def _head(pdf: FPDF) -> None:
    _write(pdf, design.Label(_SIDE, 24, 7.5, "Scale card", centred=False, bold=True))
    line = f"prepcheck {__version__} - card version {design.VERSION} - {design.WIDTH:.0f} x {design.HEIGHT:.0f} mm"
    _write(pdf, design.Label(_SIDE, 30.5, 3.5, line, centred=False), grey=90)


def _draw_card(pdf: FPDF, left: float, top: float) -> None:
    for box in design.boxes():
        pdf.set_fill_color(box.grey)
        pdf.rect(left + box.x, top + box.y, box.width, box.height, style="F")
    for label in design.labels():
        _write(pdf, label, left, top)


def _write(pdf: FPDF, label: design.Label, left: float = 0.0, top: float = 0.0, grey: int = 0) -> None:
    pdf.set_text_color(grey)
    pdf.set_font("Helvetica", style="B" if label.bold else "", size=label.size * _POINT)
    shift = pdf.get_string_width(label.text) / 2 if label.centred else 0.0
    pdf.text(left + label.x - shift, top + label.y, label.text)


def _cut_line(pdf: FPDF, left: float, top: float) -> None:
    pdf.set_draw_color(_CUT_GREY)
    pdf.set_line_width(0.2)
    pdf.set_dash_pattern(dash=2, gap=1.5)
    pdf.rect(left, top, design.WIDTH, design.HEIGHT)
    pdf.set_dash_pattern()
    _write(pdf, design.Label(left, top + design.HEIGHT + 4, 2.6, "cut here", centred=False), grey=110)


def _steps(pdf: FPDF, top: float) -> None:
    pdf.set_text_color(0)
    pdf.set_y(top)
    width = pdf.w - 2 * _SIDE
    for number, step in enumerate(STEPS, start=1):
        pdf.set_x(_SIDE)
        pdf.set_font("Helvetica", style="B", size=11)
        pdf.cell(8, 5.6, f"{number}")
        pdf.set_font("Helvetica", size=11)
        pdf.multi_cell(width - 8, 5.6, step, align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.set_y(pdf.get_y() + 2.2)
    pdf.set_y(pdf.get_y() + 4)
    pdf.set_x(_SIDE)
    pdf.set_font("Helvetica", style="B", size=10)
    pdf.multi_cell(width, 5, f"A scale, not a judgement. {HOT_WORK_LINE}", align="L")
