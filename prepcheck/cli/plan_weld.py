"""``prepcheck plan weld``: values to start from; the shop's qualified procedure rules."""

from __future__ import annotations

from typing import Annotated

import typer

from prepcheck.cli.options import SettingsFile, Store, Units
from prepcheck.cli.plan_output import JobNumber, Person, PlanJson, Told, finish


def weld(
    thickness: Annotated[str, typer.Option(help='Thickness of the metal, such as "5 mm" or "3/16 in".')],
    alloy: Annotated[str, typer.Option(help="Base metal: four figures such as 5083, 5xxx, casting, unknown.")],
    service: Annotated[str | None, typer.Option(help='Highest temperature in service, such as "60 C".')] = None,
    anodised: Annotated[bool, typer.Option("--anodised", help="The weld has to match when anodised.")] = False,
    current: Annotated[float | None, typer.Option(help="Current in A, instead of the rule of thumb's.")] = None,
    voltage: Annotated[float | None, typer.Option(help="Arc voltage in V, for the heat input.")] = None,
    speed: Annotated[str | None, typer.Option(help='Travel speed, such as "2 mm/s" or "5 in/min".')] = None,
    units: Units = None,
    job: JobNumber = None,
    person: Person = None,
    json: PlanJson = False,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Work out current, sizes, gas, filler and cleaning to start from, beside the handbook tables."""
    from prepcheck.settings import load
    from prepcheck.trade import filler
    from prepcheck.trade import weld as welds
    from prepcheck.trade.plan import given
    from prepcheck.trade.units import Kind, System, optional_quantity, quantity
    from prepcheck.trade.weld_plan import weld_plan

    loaded = load(settings).shown_in(units)
    start = welds.start(
        quantity(thickness, Kind.LENGTH, "the thickness"),
        loaded.weld,
        current_a=current,
        voltage_v=voltage,
        speed_mm_s=optional_quantity(speed, Kind.SPEED, "the travel speed"),
    )
    choice = filler.choose(
        filler.base_alloy(alloy),
        service_k=optional_quantity(service, Kind.TEMPERATURE, "the service temperature"),
        anodised=anodised,
    )
    inputs = given(
        thickness=thickness, alloy=alloy, service=service, anodised="yes" if anodised else None,
        current=None if current is None else f"{current:g} A", voltage=None if voltage is None else f"{voltage:g} V",
        speed=speed,
    )  # fmt: skip
    finish(
        weld_plan(start, choice, loaded.weld, inputs, System(loaded.report.units)),
        Told(job, person, json, store, loaded),
    )
