"""``prepcheck plan clearing``: what comes before heat on a closed vessel, and what a purge of it takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import typer

from prepcheck.cli.options import LogOptions
from prepcheck.cli.plan_output import PlanOptions, finish


@dataclass(frozen=True)
class ToClear:
    """What is to be cleared, and how."""

    volume: Annotated[str, typer.Option(help='Of the empty vessel, such as "150 gal" or "600 L".')]
    contents: Annotated[str, typer.Option(help="What it held; unknown if nobody knows.")]
    method: Annotated[
        Literal["dry-ice", "co2", "nitrogen", "argon", "ventilate", "water"], typer.Option(help="How to clear it.")
    ]
    vessel: Annotated[
        Literal["boat-tank", "farm-tank", "road-tank", "drum", "other"],
        typer.Option(help="Kind of vessel: it decides whose rule holds."),
    ] = "other"
    temperature: Annotated[str, typer.Option(help="Of the vessel.")] = "20 C"
    target: Annotated[float | None, typer.Option(help="Oxygen to come below, in %; the shop's setting otherwise.")] = (
        None
    )
    flow: Annotated[str | None, typer.Option(help='Flow of gas or air, such as "20 L/min".')] = None
    price: Annotated[str | None, typer.Option(help='Your own price of the gas, such as "4.20/kg".')] = None
    room: Annotated[str | None, typer.Option(help="Volume of the room that the gas comes out into.")] = None


def clearing(asked: ToClear, to: PlanOptions, where: LogOptions) -> None:
    """Plan the clearing of a closed vessel: first lines, who decides, what a purge takes, hazards."""
    from prepcheck.trade import plans

    finish(plans.clearing, asked, to, where)
