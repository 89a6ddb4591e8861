"""``prepcheck card``: the scale card to print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer


def card(
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="Size of the sheet.")] = "a4",
    out: Annotated[Path, typer.Option(help="Folder to write into; made when missing.")] = Path(),
) -> None:
    """Write the scale card to print: a PDF sheet in true size and a PNG of the card alone.

    Print the PDF at 100 %, measure its checking line, lay the card flat beside the spot.
    """
    from prepcheck.report.card_sheet import Paper, write_card

    for path in write_card(out, Paper(paper)):
        typer.echo(str(path))
    typer.echo("Print at 100 %, then measure the checking line: 100 mm. If not, set card.check_line_mm.", err=True)
