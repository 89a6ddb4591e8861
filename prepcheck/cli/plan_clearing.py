"""``prepcheck plan clearing``: what comes before heat on a closed vessel, and what a purge of it takes."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from prepcheck.cli.options import SettingsFile, Store, Units
from prepcheck.cli.plan_output import JobNumber, Person, PlanJson, Told, finish


def clearing(
    volume: Annotated[str, typer.Option(help='Of the empty vessel, such as "150 gal" or "600 L".')],
    contents: Annotated[str, typer.Option(help="What it held; unknown if nobody knows.")],
    method: Annotated[
        Literal["dry-ice", "co2", "nitrogen", "argon", "ventilate", "water"], typer.Option(help="How to clear it.")
    ],
    vessel: Annotated[
        Literal["boat-tank", "farm-tank", "road-tank", "drum", "other"],
        typer.Option(help="Kind of vessel: it decides whose rule holds."),
    ] = "other",
    temperature: Annotated[str, typer.Option(help="Of the vessel.")] = "20 C",
    target: Annotated[
        float | None, typer.Option(help="Oxygen to come below, in %; the shop's setting otherwise.")
    ] = None,
    flow: Annotated[str | None, typer.Option(help='Flow of gas or air, such as "20 L/min".')] = None,
    price: Annotated[str | None, typer.Option(help='Your own price of the gas, such as "4.20/kg".')] = None,
    room: Annotated[str | None, typer.Option(help="Volume of the room that the gas comes out into.")] = None,
    units: Units = None,
    job: JobNumber = None,
    person: Person = None,
    json: PlanJson = False,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Plan the clearing of a closed vessel: first lines, who decides, what a purge takes, hazards."""
    from prepcheck.settings import load
    from prepcheck.trade.clearing import Method, Vessel, Wish, clearing_plan, read_price
    from prepcheck.trade.units import Kind, System, optional_quantity, quantity

    loaded = load(settings).shown_in(units)
    wish = Wish(
        volume_m3=quantity(volume, Kind.VOLUME, "the volume"),
        contents=contents,
        method=Method(method),
        vessel=Vessel(vessel),
        temperature_k=quantity(temperature, Kind.TEMPERATURE, "the temperature"),
        target=target,
        flow_l_min=optional_quantity(flow, Kind.GAS_FLOW, "the flow"),
        price=None if price is None else read_price(price),
        room_m3=optional_quantity(room, Kind.VOLUME, "the room"),
    )
    finish(clearing_plan(wish, loaded.clearing, System(loaded.report.units)), Told(job, person, json, store, loaded))
