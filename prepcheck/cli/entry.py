"""``prepcheck log``: what people read off, decide and see at a job, besides photos."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from prepcheck.cli.commands import Commands, said_by
from prepcheck.cli.moment import HELP, moment, now
from prepcheck.cli.options import JobNumber, Json, LogOptions
from prepcheck.cli.output import say
from prepcheck.cli.pins import PinFile, given_pin
from prepcheck.errors import WrongUse
from prepcheck.trade.typed import day, made, number

if TYPE_CHECKING:
    from prepcheck.trade.entries import AnyEntry

app = Commands(
    "Log what was read off, decided and seen at a job, besides photos. Quantities carry their unit.",
)
At = Annotated[str | None, typer.Option("--at", help=HELP)]


@dataclass(frozen=True)
class Entering:
    """Who enters something, and how that is told."""

    person: Annotated[str, typer.Option(help="Who enters it.")]
    pin_file: PinFile = None
    json: Json = False


@dataclass(frozen=True)
class Meter:
    """The meter that a gas was read on."""

    meter: Annotated[str, typer.Option(help="The meter, so that it can be looked up.")] = ""
    sensor: Annotated[
        Literal["electrochemical", "catalytic", "infrared", "photoionisation", "paramagnetic", "other"],
        typer.Option(help="How it senses; a catalytic one reads low without oxygen."),
    ] = "other"
    calibration_gas: Annotated[str, typer.Option(help="What it was calibrated with.")] = ""
    factor: Annotated[float, typer.Option(help="The meter's factor for this vapour.")] = 1.0
    calibrated: Annotated[str | None, typer.Option(help="Day of calibration, such as 2026-11-24.")] = None
    due: Annotated[str | None, typer.Option(help="Day on which calibration is due.")] = None
    sees_hydrogen: Annotated[
        bool | None, typer.Option("--sees-hydrogen/--blind-to-hydrogen", help="What its handbook says.")
    ] = None


@app.command()
def reading(
    job: JobNumber,
    gas: Annotated[Literal["oxygen", "flammable", "toxic"], typer.Argument(help="What the reading is of.")],
    value: Annotated[str, typer.Argument(help="Oxygen in % by volume, flammable in % LEL, toxic in ppm.")],
    place: Annotated[str, typer.Option(help='Where in the vessel, such as "sump, behind the baffle".')],
    *,
    height: Annotated[str | None, typer.Option(help='Height over the bottom, such as "0.2 m".')] = None,
    of: Annotated[str, typer.Option(help="Name of the toxic gas, or of the vapour looked for.")] = "",
    instrument: Meter,
    limit: Annotated[float | None, typer.Option(help="Limit of the toxic gas in ppm, as your rule says.")] = None,
    limit_source: Annotated[str, typer.Option(help="Where that limit stands.")] = "",
    at: At = None,
    by: Entering,
    where: LogOptions,
) -> None:
    """Log one gas reading at one place. Take oxygen first, then flammable, then toxic."""
    from prepcheck.trade.entries import Gas, GasReading, Sensor
    from prepcheck.trade.units import Kind, optional_quantity

    entry = made(
        GasReading,
        gas=Gas(gas),
        value=number(value, "the reading"),
        place=place,
        height_m=optional_quantity(height, Kind.HEIGHT, "the height"),
        of=of,
        meter=instrument.meter,
        sensor=Sensor(instrument.sensor),
        calibration_gas=instrument.calibration_gas,
        factor=instrument.factor,
        calibrated_on=day(instrument.calibrated, "the day of calibration"),
        calibration_due=day(instrument.due, "the due day"),
        sees_hydrogen=instrument.sees_hydrogen,
        limit=limit,
        limit_source=limit_source,
        taken_at=moment(at, now(), "the time of the reading"),
    )
    _log(job, entry, by, where)


@app.command()
def condition(
    job: JobNumber,
    state: Annotated[
        Literal["ventilated", "inerted", "water-filled"], typer.Argument(help="How the vessel was made ready.")
    ],
    previous_contents: Annotated[str, typer.Option(help="What the vessel held.")],
    *,
    cleaning: Annotated[str, typer.Option(help="How it was cleaned.")] = "",
    purge_gas: Annotated[str, typer.Option(help="With what it was purged.")] = "",
    water_gap: Annotated[str | None, typer.Option(help='From the weld down to the water, such as "25 mm".')] = None,
    room_ventilated: Annotated[bool, typer.Option("--room-ventilated", help="The room is aired too.")] = False,
    no_hydrogen: Annotated[
        bool, typer.Option("--no-hydrogen", help="You ruled out hydrogen from corrosion in closed voids.")
    ] = False,
    bays: Annotated[int, typer.Option(help="Rooms between baffles; 1 without baffles.")] = 1,
    at: At = None,
    by: Entering,
    where: LogOptions,
) -> None:
    """Log the condition of the vessel that the readings after it belong to."""
    from prepcheck.trade.entries import State, VesselCondition
    from prepcheck.trade.units import Kind, optional_quantity

    entry = made(
        VesselCondition,
        condition=State(state),
        previous_contents=previous_contents,
        cleaning_done=cleaning,
        purge_gas=purge_gas,
        water_gap_mm=optional_quantity(water_gap, Kind.LENGTH, "the distance of the water"),
        room_ventilated=room_ventilated,
        hydrogen_possible=not no_hydrogen,
        bays=bays,
        at=moment(at, now(), "the time"),
    )
    _log(job, entry, by, where)


@app.command()
def certificate(
    job: JobNumber,
    certified_by: Annotated[str, typer.Option("--by", help="Who tested and certified the vessel.")],
    rule: Annotated[str, typer.Option(help="Under which rule.")],
    *,
    number: Annotated[str, typer.Option(help="Number of the certificate.")] = "",
    place: Annotated[str, typer.Option(help="Where it is posted.")] = "",
    at: At = None,
    by: Entering,
    where: LogOptions,
) -> None:
    """Log who certified the vessel, under which rule."""
    from prepcheck.trade.entries import Certificate

    when = moment(at, now(), "the time")
    entry = made(Certificate, certified_by=certified_by, rule=rule, number=number, place=place, at=when)
    _log(job, entry, by, where)


@dataclass(frozen=True)
class OfWall:
    """What was measured of a wall."""

    wall: Annotated[str | None, typer.Option("--gauge", help='Wall left, by gauge, such as "3.2 mm".')] = None
    nominal: Annotated[str | None, typer.Option(help="Nominal wall; with --depth the wall left is worked out.")] = None
    depth: Annotated[str | None, typer.Option(help="Depth of the ground-out, by depth gauge.")] = None
    before: Annotated[str | None, typer.Option(help="By gauge before grinding; --gauge is then after.")] = None
    area: Annotated[str | None, typer.Option(help='Area of the ground-out, such as "900 mm2".')] = None
    error: Annotated[str | None, typer.Option(help="Error of the gauge, 95 % half width.")] = None
    place: Annotated[str, typer.Option(help="Where on the part.")] = ""
    instrument: Annotated[str, typer.Option(help="The gauge, so that it can be looked up.")] = ""

    @property
    def method(self) -> str:
        """How it was measured, told by what was; `WrongUse` when that is none or several ways."""
        told = {name for name in ("wall", "before", "depth") if getattr(self, name) is not None}
        if told == {"depth"} and self.nominal is not None:
            return "depth"
        if "wall" in told and "depth" not in told:
            return "before_after" if "before" in told else "gauge"
        raise WrongUse("this does not tell one wall", "Give --gauge, --before and --gauge, or --nominal and --depth")


@app.command()
def wall(
    job: JobNumber,
    *,
    measured: OfWall,
    spot: Annotated[int | None, typer.Option(help="Number of the job's spot.")] = None,
    at: At = None,
    by: Entering,
    where: LogOptions,
) -> None:
    """Log the wall that is left: by gauge, by gauge before and after, or by the depth of the ground-out."""
    from prepcheck.trade.measured import wall_reading

    taken_at = moment(at, now(), "the time of the reading")
    entry = wall_reading(said_by(measured), method=measured.method, spot=spot, taken_at=taken_at)
    _log(job, entry, by, where)


@dataclass(frozen=True)
class AtLook:
    """What was read and seen at a look for leaks."""

    leaks: Annotated[list[str] | None, typer.Option("--leak", help="Where a leak was seen; once for each.")] = None
    looked_at: Annotated[str, typer.Option(help="What was looked at: every seam and fitting by name.")] = ""
    medium: Annotated[str, typer.Option(help="Air, nitrogen, water ...")] = ""
    pressure: Annotated[str | None, typer.Option(help='Gauge pressure at the start, such as "20 kPa".')] = None
    end_pressure: Annotated[str | None, typer.Option(help="Gauge pressure at the end.")] = None
    temperature: Annotated[str | None, typer.Option(help='Of the gas at the start, such as "18 C".')] = None
    end_temperature: Annotated[str | None, typer.Option(help="Of the gas at the end.")] = None
    watched: Annotated[str | None, typer.Option(help='How long it was watched, such as "10 min".')] = None
    volume: Annotated[str | None, typer.Option(help='Volume under pressure, such as "400 L".')] = None
    air_pressure: Annotated[str | None, typer.Option(help='Of the air around, at the start, such as "1013 mbar".')] = (
        None
    )
    end_air_pressure: Annotated[str | None, typer.Option(help="Of the air around, at the end.")] = None
    pressure_error: Annotated[str | None, typer.Option(help="Error of the gauge, 95 % half width.")] = None
    temperature_error: Annotated[str | None, typer.Option(help='Error of the thermometer, such as "0.5 K".')] = None
    gauge: Annotated[str, typer.Option(help="The gauge, so that it can be looked up.")] = ""


@app.command()
def leak(
    job: JobNumber,
    method: Annotated[Literal["bubbles", "decay", "water"], typer.Argument(help="How leaks were looked for.")],
    *,
    look: AtLook,
    at: At = None,
    by: Entering,
    where: LogOptions,
) -> None:
    """Log one look for leaks. Without --leak it says that none was seen."""
    from prepcheck.trade.measured import look_for_leaks

    started_at = moment(at, now(), "the start")
    _log(job, look_for_leaks(said_by(look), method=method, started_at=started_at), by, where)


@app.command()
def note(
    job: JobNumber,
    text: Annotated[str, typer.Argument(help="Anything worth keeping about the job.")],
    *,
    by: Entering,
    where: LogOptions,
) -> None:
    """Log a note."""
    from prepcheck.trade.entries import Note

    _log(job, made(Note, text=text), by, where)


def _log(job: str, entry: AnyEntry, by: Entering, where: LogOptions) -> None:
    from prepcheck import tasks
    from prepcheck.report.entry_words import entry_words
    from prepcheck.trade.units import System

    log, _, settings = where.open()
    pin = given_pin(by.pin_file)
    event = tasks.log_entry(log, job, entry, person=by.person, at=now(), pin=pin, settings=settings)
    words = entry_words(event, System(settings.report.units))
    say(event, f"Logged as entry {event.number}: {words}", as_json=by.json)
