"""``prepcheck plan wall``: wall left under a ground spot, against a minimum, and the filler for it."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from prepcheck.cli.options import SettingsFile, Store, Units
from prepcheck.cli.plan_output import JobNumber, Person, PlanJson, Told, finish


def wall(
    nominal: Annotated[str | None, typer.Option(help='Nominal wall, such as "5 mm" or "3/16 in".')] = None,
    depth: Annotated[str | None, typer.Option(help="Deepest depth of the ground-out, by depth gauge.")] = None,
    gauge: Annotated[list[str] | None, typer.Option(help="Reading of a thickness gauge; once for each.")] = None,
    before: Annotated[list[str] | None, typer.Option(help="Reading before grinding; --gauge is then after.")] = None,
    error: Annotated[str | None, typer.Option(help="Error of gauge or depth gauge, 95 % half width.")] = None,
    area: Annotated[str | None, typer.Option(help='Area of the ground-out, such as "900 mm2".')] = None,
    shape: Annotated[Literal["prism", "dish"], typer.Option(help="prism: steep sides; dish: half as much.")] = "prism",
    rod: Annotated[str | None, typer.Option(help="Diameter of the filler rod.")] = None,
    regime: Annotated[
        Literal["small-craft", "recreational", "passenger", "cargo-tank", "shop"] | None,
        typer.Option(help="Whose minimum the shop works to."),
    ] = None,
    minimum: Annotated[str | None, typer.Option(help="The minimum that applies, instead of the regime's.")] = None,
    units: Units = None,
    job: JobNumber = None,
    person: Person = None,
    json: PlanJson = False,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Work out the wall left under a ground spot, hold it against a minimum, and count the filler for it."""
    from prepcheck.settings import load
    from prepcheck.trade import refill
    from prepcheck.trade import wall as walls
    from prepcheck.trade.plan import given
    from prepcheck.trade.units import Kind, System, optional_quantity, quantity
    from prepcheck.trade.wall_plan import wall_plan

    loaded = load(settings).shown_in(units)
    left = walls.measured(
        loaded.wall,
        nominal_mm=optional_quantity(nominal, Kind.LENGTH, "the nominal wall"),
        depth_mm=optional_quantity(depth, Kind.LENGTH, "the depth"),
        gauge_mm=[quantity(one, Kind.LENGTH, "a gauge reading") for one in gauge or ()],
        before_mm=[quantity(one, Kind.LENGTH, "a reading before") for one in before or ()],
        error_mm=optional_quantity(error, Kind.LENGTH, "the error"),
    )
    own = optional_quantity(minimum, Kind.LENGTH, "the minimum")
    work = refill.work_out(
        left,
        walls.minimum(None if regime is None else walls.Regime(regime), own, loaded.wall),
        loaded.wall,
        area_mm2=optional_quantity(area, Kind.AREA, "the area"),
        shape=refill.Shape(shape),
        rod_mm=optional_quantity(rod, Kind.LENGTH, "the rod's diameter"),
    )
    inputs = given(
        nominal=nominal, depth=depth, gauge=", ".join(gauge or ()) or None, before=", ".join(before or ()) or None,
        error=error, area=area, shape=shape if area else None, rod=rod, regime=regime, minimum=minimum,
    )  # fmt: skip
    finish(wall_plan(work, inputs, System(loaded.report.units)), Told(job, person, json, store, loaded))
