"""``prepcheck plan wall``: wall left under a ground spot, against a minimum, and the filler for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import typer

from prepcheck.cli.options import LogOptions
from prepcheck.cli.plan_output import PlanOptions, finish


@dataclass(frozen=True)
class Ground:
    """What is known of the wall and of the ground-out."""

    nominal: Annotated[str | None, typer.Option(help='Nominal wall, such as "5 mm" or "3/16 in".')] = None
    depth: Annotated[str | None, typer.Option(help="Deepest depth of the ground-out, by depth gauge.")] = None
    gauge: Annotated[list[str] | None, typer.Option(help="Reading of a thickness gauge; once for each.")] = None
    before: Annotated[list[str] | None, typer.Option(help="Reading before grinding; --gauge is then after.")] = None
    error: Annotated[str | None, typer.Option(help="Error of gauge or depth gauge, 95 % half width.")] = None
    area: Annotated[str | None, typer.Option(help='Area of the ground-out, such as "900 mm2".')] = None
    shape: Annotated[Literal["prism", "dish"], typer.Option(help="prism: steep sides; dish: half as much.")] = "prism"
    rod: Annotated[str | None, typer.Option(help="Diameter of the filler rod.")] = None
    regime: Annotated[
        Literal["small-craft", "recreational", "passenger", "cargo-tank", "shop"] | None,
        typer.Option(help="Whose minimum the shop works to."),
    ] = None
    minimum: Annotated[str | None, typer.Option(help="The minimum that applies, instead of the regime's.")] = None


def wall(asked: Ground, to: PlanOptions, where: LogOptions) -> None:
    """Work out the wall left under a ground spot, hold it against a minimum, and count the filler for it."""
    from prepcheck.trade import plans

    finish(plans.wall, asked, to, where)
