"""``prepcheck plan leak``: pressure, what is stored, and what readings and looks tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import typer

from prepcheck.cli.options import LogOptions
from prepcheck.cli.plan_output import PlanOptions, finish

Said = str | None


@dataclass(frozen=True)
class Tested:
    """What is tested, with what, and what was read and seen."""

    head: Annotated[Said, typer.Option(help="Height from the lowest point to where it overflows.")] = None
    contents: Annotated[Said, typer.Option(help="petrol, diesel or water.")] = None
    density: Annotated[Said, typer.Option(help='Of other contents, such as "0.9 kg/L".')] = None
    volume: Annotated[Said, typer.Option(help='Capacity, such as "500 L" or "130 gal".')] = None
    label: Annotated[Said, typer.Option(help="Test pressure on the tank's label.")] = None
    pressure: Annotated[
        Said, typer.Option(help="Gauge pressure meant or read; otherwise the label's, or by the rule.")
    ] = None
    most: Annotated[Said, typer.Option(help="The most that the tank may see, by whoever knows it.")] = None
    medium: Annotated[Literal["air", "nitrogen", "argon", "water"], typer.Option(help="What it is tested with.")] = (
        "air"
    )
    panel: Annotated[Said, typer.Option(help='Area of the largest flat panel, such as "0.6 m2".')] = None
    end_pressure: Annotated[Said, typer.Option(help="Gauge pressure at the end, where it was watched.")] = None
    watched: Annotated[Said, typer.Option(help='How long it was watched, such as "30 min".')] = None
    temperature: Annotated[Said, typer.Option(help="Of the gas at the start.")] = None
    end_temperature: Annotated[Said, typer.Option(help="Of the gas at the end.")] = None
    air_pressure: Annotated[Said, typer.Option(help="Of the air around, at the start.")] = None
    end_air_pressure: Annotated[Said, typer.Option(help="Of the air around, at the end.")] = None
    pressure_error: Annotated[Said, typer.Option(help="Error of the gauge, 95 % half width.")] = None
    temperature_error: Annotated[Said, typer.Option(help='Error of the thermometer, such as "0.5 K".')] = None
    leaks: Annotated[list[str] | None, typer.Option("--leak", help="Where a leak was seen; once for each.")] = None
    looked_at: Annotated[Said, typer.Option(help="Which seams and fittings were looked at.")] = None


def leak(asked: Tested, to: PlanOptions, where: LogOptions) -> None:
    """Work out the pressure for a leak test and what it stores; tell what readings and looks show."""
    from prepcheck.trade import plans

    finish(plans.leak, asked, to, where)
