"""``prepcheck plan leak``: pressure, what is stored, and what readings and looks tell."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from prepcheck.cli.moment import now
from prepcheck.cli.options import SettingsFile, Store, Units
from prepcheck.cli.plan_output import JobNumber, Person, PlanJson, Told, finish
from prepcheck.errors import WrongUse
from prepcheck.trade.look_fields import LOOK_FIELDS
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
    pressure: Annotated[
        Said, typer.Option(help="Gauge pressure meant or read; otherwise the label's, or by the rule.")
    ] = None,
    most: Annotated[Said, typer.Option(help="The most that the tank may see, by whoever knows it.")] = None,
    medium: Annotated[
        Literal["air", "nitrogen", "argon", "water"], typer.Option(help="What it is tested with.")
    ] = "air",
    panel: Annotated[Said, typer.Option(help='Area of the largest flat panel, such as "0.6 m2".')] = None,
    end_pressure: Annotated[Said, typer.Option(help="Gauge pressure at the end, where it was watched.")] = None,
    watched: Annotated[Said, typer.Option(help='How long it was watched, such as "30 min".')] = None,
    temperature: Annotated[Said, typer.Option(help="Of the gas at the start.")] = None,
    end_temperature: Annotated[Said, typer.Option(help="Of the gas at the end.")] = None,
    air_pressure: Annotated[Said, typer.Option(help="Of the air around, at the start.")] = None,
    end_air_pressure: Annotated[Said, typer.Option(help="Of the air around, at the end.")] = None,
    pressure_error: Annotated[Said, typer.Option(help="Error of the gauge, 95 % half width.")] = None,
    temperature_error: Annotated[Said, typer.Option(help='Error of the thermometer, such as "0.5 K".')] = None,
    found: Annotated[list[str] | None, typer.Option("--leak", help="Where a leak was seen; once for each.")] = None,
    looked_at: Annotated[Said, typer.Option(help="Which seams and fittings were looked at.")] = None,
    units: Units = None,
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

    told = Told(job, person, json, store, load(settings).shown_in(units))
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
        looks=(*_logged(told), *_given(said)),
    )
    limits = told.settings.leak
    finish(leak_plan(work_out(wish, limits), limits, _inputs(said), System(told.settings.report.units)), told)


_NOT_INPUTS = ("units", "job", "person", "json", "settings", "store", "found")


def _logged(told: Told) -> tuple[LeakEntry, ...]:
    """Return the looks that are in the log of the job, where one was named."""
    if told.job is None:
        return ()
    from prepcheck import tasks
    from prepcheck.trade.entries import LeakEntry

    log, _ = tasks.open_log(told.store, told.settings, create=False)
    events = tasks.job_story(log, told.job).events
    return tuple(event.entry for event in events if isinstance(event.entry, LeakEntry))


def _given(said: dict[str, Any]) -> tuple[LeakEntry, ...]:
    """Return the look that the options tell of, where they tell of one."""
    figures = {
        field: quantity(said[name], kind, f"--{name.replace('_', '-')}")
        for name, (field, kind) in LOOK_FIELDS.items()
        if said[name] is not None
    }
    if not figures and not said["found"] and not said["looked_at"]:
        return ()
    if said["end_air_pressure"] is not None and said["air_pressure"] is None:
        raise WrongUse("the air's pressure was read only at the end", "Give --air-pressure too, or neither")
    start = optional_quantity(said["pressure"], Kind.PRESSURE, "the pressure")
    volume = optional_quantity(said["volume"], Kind.VOLUME, "the volume")
    words = {"medium": said["medium"], "leaks": tuple(said["found"] or ()), "looked_at": said["looked_at"] or ""}
    return (_entry(method=_method(said), volume_m3=volume, start_pa=start, started_at=now(), **words, **figures),)


def _method(said: dict[str, Any]) -> str:
    if said["end_pressure"] is not None:
        return "decay"
    return "water" if said["medium"] == "water" else "bubbles"


def _entry(**fields: Any) -> LeakEntry:
    from pydantic import ValidationError

    from prepcheck.own_file import first_fault
    from prepcheck.settings import LeakSettings
    from prepcheck.trade.entries import LeakEntry
    from prepcheck.trade.leak import decay_of

    try:
        entry = LeakEntry.model_validate(fields)
    except ValidationError as error:
        raise WrongUse(f"the readings cannot be used: {first_fault(error)}", "Check them") from error
    decay_of(entry, LeakSettings())  # a figure that cannot be is refused here, not left out of the plan
    return entry


def _inputs(said: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    from prepcheck.trade.plan import given

    texts = {name: value for name, value in said.items() if name not in _NOT_INPUTS}
    return given(**texts, leak="; ".join(said["found"] or ()) or None)
