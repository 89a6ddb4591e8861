"""``prepcheck plan weld``: values to start from; the shop's qualified procedure rules."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import typer

from prepcheck.cli.options import LogOptions
from prepcheck.cli.plan_output import PlanOptions, finish


@dataclass(frozen=True)
class ToWeld:
    """What is to be welded."""

    thickness: Annotated[str, typer.Option(help='Thickness of the metal, such as "5 mm" or "3/16 in".')]
    alloy: Annotated[str, typer.Option(help="Base metal: four figures such as 5083, 5xxx, casting, unknown.")]
    service: Annotated[str | None, typer.Option(help='Highest temperature in service, such as "60 C".')] = None
    anodised: Annotated[bool, typer.Option("--anodised", help="The weld has to match when anodised.")] = False
    current: Annotated[float | None, typer.Option(help="Current in A, instead of the rule of thumb's.")] = None
    voltage: Annotated[float | None, typer.Option(help="Arc voltage in V, for the heat input.")] = None
    speed: Annotated[str | None, typer.Option(help='Travel speed, such as "2 mm/s" or "5 in/min".')] = None


def weld(asked: ToWeld, to: PlanOptions, where: LogOptions) -> None:
    """Work out current, sizes, gas, filler and cleaning to start from, beside the handbook tables."""
    from prepcheck.trade import plans

    finish(plans.weld, asked, to, where)
