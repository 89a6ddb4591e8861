"""``prepcheck inspect``: look at photos and say where residue is left."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.options import Json, LogOptions, ModelName
from prepcheck.cli.output import print_json
from prepcheck.errors import PrepcheckError, printable

if TYPE_CHECKING:
    from prepcheck.looking import Looked
    from prepcheck.record import Record
    from prepcheck.report.outputs import Outputs


Photos = Annotated[
    list[Path], typer.Argument(metavar="PHOTO...", help="Photos of ground spots, or clips of a torch sweep over one.")
]
MovedLight = Annotated[
    bool,
    typer.Option("--moved-light", help="The 2 to 6 photos show one view, the torch in different places: one answer."),
]


@dataclass(frozen=True)
class AnswerOptions:
    """Where an answer goes."""

    json: Json = False
    picture: Annotated[
        Path | None, typer.Option(help="Write the marked picture here: .png or .jpg, or a folder for several photos.")
    ] = None
    maps: Annotated[Path | None, typer.Option(help="Write state, spot and residue maps into this folder.")] = None


@dataclass(frozen=True)
class LookOptions:
    """How to look."""

    mm_per_px: Annotated[float | None, typer.Option(help="State a known scale, mm per pixel of the photo.")] = None
    outline_file: Annotated[
        Path | None,
        typer.Option(
            "--outlines",
            "--outline-file",
            help='JSON: {"draw": [[[x, y], ..], ..], "refuse": {"1": "why"}, "joint": [[x, y], ..]} in photo pixels.',
        ),
    ] = None
    show_position: Annotated[bool, typer.Option("--show-position", help="Print where the photo was taken.")] = False
    model: ModelName = None


@dataclass(frozen=True)
class PlaceOptions:
    """Where in the log a photo belongs; the names are those of `prepcheck.looking.place_in_log`."""

    job: Annotated[str | None, typer.Option(help="Log into this job.")] = None
    spot: Annotated[str | None, typer.Option(help="The job's spot that the photo shows.")] = None
    pass_no: Annotated[int | None, typer.Option(help="Which grinding pass, from 1.")] = None
    person: Annotated[str | None, typer.Option(help="Who answers for the photo.")] = None
    outline: Annotated[int | None, typer.Option(help="Number of the outline that is the job's spot.")] = None
    note: Annotated[str, typer.Option(help="Anything to add to the log entry.")] = ""


def inspect(
    photos: Photos,
    *,
    moved_light: MovedLight = False,
    into: AnswerOptions,
    how: LookOptions,
    belongs: PlaceOptions,
    where: LogOptions,
) -> None:
    """Find the ground spots in photos and say where residue is left, how sure that is, and what to do next.

    No photo shows the native oxide film or what lies below the surface, and no published grade exists for oxide left
    on ground aluminium. Of a clip, and with --moved-light, there is one answer, in the frame of the first photo.
    """
    from prepcheck import looking
    from prepcheck.cli.moment import now
    from prepcheck.report.outputs import Outputs

    if moved_light:
        looking.check_set(photos)
    inputs = [photos] if moved_light else [[photo] for photo in photos]
    look = looking.prepare(
        settings_file=where.settings,
        model_name=how.model,
        mm_per_px=how.mm_per_px,
        outline_file=how.outline_file,
        keep_position=how.show_position,
        photos=len(inputs),
    )
    place = looking.place_in_log(where.store, look.settings, **vars(belongs))
    if shop := where.store if place is None else place.store:
        look = looking.at_shop(look, shop)
    outputs = Outputs.of([named[0] for named in inputs], maps=into.maps, picture=into.picture, beside=photos)
    codes = []
    for named in inputs:
        looked = looking.look_at(named, look, place, now(), keep_maps=outputs.wanted)
        codes.append(answer(looked, outputs, now(), json=into.json))
    sys.exit(max(codes))


def answer(looked: Looked, outputs: Outputs, at: datetime, *, json: bool) -> int:
    """Write and print one answer and return its exit code; files that cannot be written are told, not raised."""
    written: list[Path] = []
    code = looked.exit_code
    try:
        written = _write(looked, outputs, at)
    except PrepcheckError as error:
        typer.echo(f"prepcheck: {error.message}", err=True)
        code = max(code, error.exit_code)
    _tell(looked, written, json)
    return code


def _write(looked: Looked, outputs: Outputs, at: datetime) -> list[Path]:
    """Write the picture and maps of one answer and return the files; a broken input has none."""
    from prepcheck.record import Record

    if looked.inspection is None or not isinstance(looked.line, Record):
        return []
    logged = looked.logged
    job_line = None if logged is None else f"{logged.job}, spot {logged.spot}, pass {logged.pass_no}"
    return outputs.write(looked.inspection, looked.line, job_line=job_line, when=at.date().isoformat())


def _tell(looked: Looked, written: list[Path], json: bool) -> None:
    """Print one answer: its line or table, where it was logged and written, and any error on standard error."""
    from prepcheck.record import Record

    if looked.error is not None:
        typer.echo(f"prepcheck: {looked.error.message}", err=True)
    if json:
        print_json(looked.line)
    elif isinstance(looked.line, Record):
        _table(looked, looked.line, written)


def _table(looked: Looked, record: Record, written: list[Path]) -> None:
    from rich.console import Console

    from prepcheck.report.table import print_record

    console = Console(highlight=False)
    print_record(console, record)
    if looked.logged is not None:
        logged = looked.logged
        entry = f"Logged as inspection {logged.inspection}: {logged.job}, spot {logged.spot}, pass {logged.pass_no}"
        rest = ", ".join(map(str, logged.not_assigned))
        console.print(entry + (f"; outlines not assigned: {rest}" if rest else ""), markup=False)
    for path in written:
        console.print(f"Written: {printable(str(path))}", markup=False, soft_wrap=True)
