"""``prepcheck card``: the scale card to print."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Paper(StrEnum):
    """Paper sizes, named here so that the help needs nothing heavy."""

    A4 = "a4"
    LETTER = "letter"


def card(
    paper: Annotated[Paper, typer.Option(help="Size of the sheet.")] = Paper.A4,
    out: Annotated[Path, typer.Option(help="Folder to write into; made when missing.")] = Path(),
) -> None:
    """Write the scale card to print: a PDF sheet in true size and a PNG of the card alone.

    Print the PDF at 100 %, measure its checking line, lay the card flat beside the spot.
    """
    from prepcheck.report import card_sheet

    for path in card_sheet.write_card(out, card_sheet.Paper(paper.value)):
        typer.echo(path)
    typer.echo("Print at 100 %, then measure the checking line: 100 mm. If not, set card.check_line_mm.", err=True)
