"""``prepcheck plan leak``: pressure, what is stored, and what readings and looks tell."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from prepcheck.cli.job import now
from prepcheck.cli.options import SettingsFile, Store
from prepcheck.cli.plan_output import JobNumber, Person, PlanJson, Told, Units, finish
from prepcheck.errors import WrongUse
from prepcheck.trade.units import Kind, System, optional_quantity, quantity

if TYPE_CHECKING:
    from prepcheck.trade.entries import LeakEntry

Said = str | None


def leak(
    head: Annotated[Said, typer.Option(help="Height from the lowest point to where it overflows.")] = None,
    contents: Annotated[Said, typer.Option(help="petrol, diesel or water.")] = None,
    density: Annotated[Said, typer.Option(help='Of other contents, such as "0.9 kg/L".')] = None,
    volume: Annotated[Said, typer.Option(help='Capacity, such as "500 L" or "130 gal".')] = None,
    label: Annotated[Said, typer.Option(help="Test pressure on the tank's label.")] = None,
    pressure: Annotated[Said, typer.Option(help="Pressure meant; otherwise the label's, or by the rule.")] = None,
    most: Annotated[Said, typer.Option(help="The most that the tank may see, by whoever knows it.")] = None,
    medium: Annotated[
        Literal["air", "nitrogen", "argon", "water"], typer.Option(help="What it is tested with.")
    ] = "air",
    panel: Annotated[Said, typer.Option(help='Area of the largest flat panel, such as "0.6 m2".')] = None,
    start: Annotated[Said, typer.Option(help="Gauge pressure at the start.")] = None,
    end: Annotated[Said, typer.Option(help="Gauge pressure at the end.")] = None,
    start_temperature: Annotated[Said, typer.Option(help="Temperature of the tank at the start.")] = None,
    end_temperature: Annotated[Said, typer.Option(help="Temperature of the tank at the end.")] = None,
    over: Annotated[Said, typer.Option(help='Time between, such as "30 min".')] = None,
    start_air: Annotated[Said, typer.Option(help="Pressure of the air outside at the start.")] = None,
    end_air: Annotated[Said, typer.Option(help="Pressure of the air outside at the end.")] = None,
    gauge_error: Annotated[Said, typer.Option(help="Error of a pressure reading, 95 % half width.")] = None,
    temperature_error: Annotated[Said, typer.Option(help='Of a temperature reading, such as "0.5 K".')] = None,
    seen_at: Annotated[list[str] | None, typer.Option(help="Where a leak was seen; once for each place.")] = None,
    looked_at: Annotated[Said, typer.Option(help="Which seams and fittings were looked at.")] = None,
    units: Units = "metric",
    job: JobNumber = None,
    person: Person = None,
    json: PlanJson = False,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Work out the pressure for a leak test and what it stores; tell what readings and looks show."""
    said = dict(locals())
    from prepcheck.settings import load
    from prepcheck.trade.leak_plan import leak_plan
    from prepcheck.trade.leak_work import Wish, work_out

    loaded = load(settings)
    wish = Wish(
        medium=medium,
        head_m=optional_quantity(head, Kind.HEIGHT, "the head"),
        contents=contents,
        density_kg_m3=optional_quantity(density, Kind.DENSITY, "the density"),
        volume_m3=optional_quantity(volume, Kind.VOLUME, "the volume"),
        label_pa=optional_quantity(label, Kind.PRESSURE, "the label's pressure"),
        pressure_pa=optional_quantity(pressure, Kind.PRESSURE, "the pressure"),
        most_pa=optional_quantity(most, Kind.PRESSURE, "the most that the tank may see"),
        panel_mm2=optional_quantity(panel, Kind.AREA, "the panel's area"),
        look=_look(said),
    )
    plan = leak_plan(work_out(wish, loaded.leak), loaded.leak, _inputs(said), System(units))
    finish(plan, Told(job, person, json, store, loaded))


_OF_A_LOOK = {
    "start": ("start_pa", Kind.PRESSURE),
    "end": ("end_pa", Kind.PRESSURE),
    "start_temperature": ("start_k", Kind.TEMPERATURE),
    "end_temperature": ("end_k", Kind.TEMPERATURE),
    "over": ("seconds", Kind.TIME),
    "start_air": ("ambient_pa", Kind.PRESSURE),
    "end_air": ("end_ambient_pa", Kind.PRESSURE),
    "gauge_error": ("pressure_error_pa", Kind.PRESSURE),
    "temperature_error": ("temperature_error_k", Kind.TEMPERATURE_STEP),
}
"""Options of a look for leaks: the field of the entry, and what it is a quantity of."""
_NOT_INPUTS = ("units", "job", "person", "json", "settings", "store")


def _look(said: dict[str, Any]) -> LeakEntry | None:
    """Return the look for leaks that the options tell of; None where they tell of none."""
    told = {
        field: quantity(said[name], kind, f"--{name.replace('_', '-')}")
        for name, (field, kind) in _OF_A_LOOK.items()
        if said[name] is not None
    }
    if not told and not said["seen_at"] and not said["looked_at"]:
        return None
    if said["end_air"] is not None and said["start_air"] is None:
        raise WrongUse("the air's pressure was read only at the end", "Give --start-air too, or neither")
    volume = optional_quantity(said["volume"], Kind.VOLUME, "the volume")
    words = {"leaks": tuple(said["seen_at"] or ()), "looked_at": said["looked_at"] or ""}
    return _entry(method=_method(said), medium=said["medium"], volume_m3=volume, started_at=now(), **words, **told)


def _method(said: dict[str, Any]) -> str:
    if said["end"] is not None:
        return "decay"
    return "water" if said["medium"] == "water" else "bubbles"


def _entry(**fields: Any) -> LeakEntry:
    from pydantic import ValidationError

    from prepcheck.own_file import first_fault
    from prepcheck.trade.entries import LeakEntry

    try:
        return LeakEntry.model_validate(fields)
    except ValidationError as error:
        raise WrongUse(f"the readings cannot be used: {first_fault(error)}", "Check them") from error


def _inputs(said: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    from prepcheck.trade.plan import given

    texts = {name: value for name, value in said.items() if name not in _NOT_INPUTS}
    texts["seen_at"] = "; ".join(said["seen_at"] or ()) or None
    return given(**texts)
