"""``prepcheck count``: points counted by people, how well they agree, and how often the tool was wrong for them."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.commands import Commands
from prepcheck.cli.options import Json, ModelName, SettingsFile
from prepcheck.cli.output import say
from prepcheck.errors import WrongUse

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

    from prepcheck.agreement.acceptance import Acceptance
    from prepcheck.agreement.fields import Field
    from prepcheck.agreement.folder import Count
    from prepcheck.agreement.form import Counted
    from prepcheck.agreement.told import Tell, Told
    from prepcheck.photo import Photo
    from prepcheck.settings import Settings

app = Commands("Count points by eye: area shares, agreement, and a check of the tool.")

Forms = Annotated[list[Path], typer.Argument(metavar="CSV...", help="Forms that people filled in.")]


@app.command("grid")
def grid(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Photos to lay points on.")],
    out: Annotated[Path, typer.Option(help="Folder of the count; more photos can be added to it later.")],
    points: Annotated[int, typer.Option(help="About how many points a photo.")] = 100,
    outlines: Annotated[
        Path | None, typer.Option(help="Only inside the outline drawn in this file (see inspect --outlines).")
    ] = None,
    spot: Annotated[int | None, typer.Option(min=1, help="Only inside the tool's own outline of this number.")] = None,
    seed: Annotated[
        int | None, typer.Option(min=0, max=2**32, help="Of the grid's offset; the photo's own otherwise.")
    ] = None,
    person: Annotated[str, typer.Option(help="Who is going to count; a pseudonym will do.")] = "",
    settings: SettingsFile = None,
) -> None:
    """Lay a grid of points over photos: pictures with numbered crosses, and forms to write labels on."""
    from prepcheck.agreement.fields import LIST, add_field, read_fields, write_fields
    from prepcheck.agreement.folder import check_form
    from prepcheck.cli.count_text import laid
    from prepcheck.report.files import write_whole
    from prepcheck.settings import load
    from prepcheck.store.words import clean

    if (outlines is not None or spot is not None) and len(photos) > 1:
        raise WrongUse("an outline belongs to one photo", "Lay the points photo by photo")
    name, thresholds = clean(person, "the person", needed=False), load(settings)
    fields = read_fields(out) if (out / LIST).exists() else []
    before = len(fields)
    for path in photos:
        fields = add_field(fields, _lay(path, thresholds, points, (outlines, spot), seed))
        check_form(out, fields[-1])
    for path, field in zip(photos, fields[before:], strict=True):
        _write(path, field, out, thresholds, name)
    write_whole(out / LIST, write_fields(fields))
    typer.echo("\n".join(laid(fields[before:], out)))


@app.command("read")
def read(
    forms: Forms,
    accuracy: Annotated[
        float,
        typer.Option(min=0.1, max=100, help="Wished relative accuracy in percent, to say how many photos it needs."),
    ] = 10,
    json: Json = False,
) -> None:
    """Area shares by state from filled forms: mean over photos, spread, 95 % interval, relative accuracy."""
    from prepcheck.agreement.point_count import fractions
    from prepcheck.cli import count_text

    for person, counts in _by_person(forms).items():
        found = fractions(counts)
        say(
            count_text.shares_json(person, counts, found, accuracy),
            "\n".join(count_text.shares(person, counts, found, accuracy)),
            as_json=json,
        )


@app.command("agree")
def agree(forms: Forms, json: Json = False) -> None:
    """How well people agree: with each other, and each with themselves where a photo was counted twice."""
    from prepcheck.agreement.compare import compare, pairs, repeat, reproduce
    from prepcheck.cli import count_text

    counts = _filled(forms)
    again = [("repeat", compare(answers)) for answers in repeat(counts).values()]
    between = reproduce(counts)
    several = [] if between is None else [("reproduce", one) for one in pairs(between)]
    if between is not None and len(between.who) > 2:
        several.append(("reproduce", compare(between)))
    if not (again or several):
        raise WrongUse(
            "hold no photo that was counted twice", "Give forms of two people, or two forms of one", "the forms"
        )
    for kind, one in [*again, *several]:
        say(count_text.comparison_json(kind, one), "\n".join(count_text.comparison(kind, one)), as_json=json)
    if not json:
        typer.echo(count_text.KAPPA_NOTE)


@app.command("accept")
def accept(
    folder: Annotated[Path, typer.Argument(help="Folder of a count with its filled forms.")],
    maps: Annotated[
        Path | None, typer.Option(help="Take the tool's answers from maps that inspect --maps wrote.")
    ] = None,
    model: ModelName = None,
    json: Json = False,
    settings: SettingsFile = None,
) -> None:
    """How often the tool was wrong for you, both ways, at the points that your people counted."""
    from prepcheck.agreement.folder import read_count
    from prepcheck.cli import count_text

    count = read_count(folder)
    if not count.counts:
        raise WrongUse("has no filled form yet", "Label the points on forms/NAME.csv first", str(folder))
    told = _ask(_tell(folder, maps, model, settings), count)
    for one in _accepted(count, told):
        say(count_text.acceptance_json(one), "\n".join(count_text.acceptance(one)), as_json=json)
    if not json:
        typer.echo("\n".join(count_text.beside(count, [one.standing for one in told.values()])))


def _lay(
    path: Path, settings: Settings, points: int, inside: tuple[Path | None, int | None], seed: int | None
) -> Field:
    from prepcheck.agreement.fields import Field
    from prepcheck.agreement.folder import IMAGES
    from prepcheck.agreement.grid import lay_grid, seed_of
    from prepcheck.photo import read

    photo = read(path, settings)
    size = (photo.width, photo.height)
    start = seed_of(photo.sha256) if seed is None else seed
    return Field(
        f"{IMAGES}/{photo.name}", photo.sha256, size, lay_grid(size, points, start, _outline(photo, settings, *inside))
    )


def _write(path: Path, field: Field, out: Path, settings: Settings, person: str) -> None:
    """Write what a photo has in the folder of a count; it is read once more, so that never more than one is held."""
    from prepcheck.agreement.folder import files_of
    from prepcheck.agreement.told import read_photo
    from prepcheck.report.files import write_whole

    data, photo = read_photo(path, field, settings)
    for place, content in files_of(field, photo, data, person).items():
        write_whole(out / place, content)


def _outline(photo: Photo, settings: Settings, file: Path | None, spot: int | None) -> NDArray[float64] | None:
    if file is not None and spot is not None:
        raise WrongUse("--outlines and --spot are two answers to one question", "Give one of them")
    if file is not None:
        from prepcheck.outline_file import read_outlines

        drawn = read_outlines(file).drawn
        if len(drawn) != 1:
            raise WrongUse(f"draws {len(drawn)} outlines", "Draw the one that the points lie in", str(file))
        return drawn[0]
    return None if spot is None else _outline_of_spot(photo, settings, spot)


def _outline_of_spot(photo: Photo, settings: Settings, number: int) -> NDArray[float64]:
    from prepcheck.inspection import inspect
    from prepcheck.surface import load_model

    spots = {spot.number: spot for spot, _ in inspect(photo, load_model(None), settings).answer.spots}
    if number not in spots:
        raise WrongUse(f"has no spot {number}, {len(spots)} found", "Draw the outline and give --outlines", photo.name)
    return spots[number].outline


def _filled(forms: list[Path]) -> list[Counted]:
    from prepcheck.agreement.form import read_form

    if len({path.resolve() for path in forms}) < len(forms):
        raise WrongUse("one form is named twice", "Name each form once")
    read = [(path, read_form(path)) for path in forms]
    if blank := [path.name for path, one in read if one is None]:
        raise WrongUse("has no labels yet", "Label its points first", blank[0])
    return [one for _, one in read if one is not None]


def _by_person(forms: list[Path]) -> dict[str, list[Counted]]:
    counts: dict[str, list[Counted]] = {}
    for one in _filled(forms):
        of_one = counts.setdefault(one.person, [])
        if any(other.sha256 == one.sha256 for other in of_one):
            what = f"is a second count of {one.photo} by {one.person}"
            raise WrongUse(what, "Give one of them here; prepcheck count agree compares both", one.source)
        of_one.append(one)
    return counts


def _tell(folder: Path, maps: Path | None, model: str | None, settings: Path | None) -> Tell:
    from prepcheck.agreement.told import by_inspection, from_maps

    if maps is not None:
        return from_maps(maps)
    from prepcheck.settings import load
    from prepcheck.surface import load_model

    return by_inspection(folder, load_model(model), load(settings))


def _ask(tell: Tell, count: Count) -> dict[str, Told]:
    """Ask the tool about each photo that somebody counted."""
    counted = {one.sha256 for one in count.counts}
    told: dict[str, Told] = {}
    for field in (one for one in count.fields if one.sha256 in counted):
        if sys.stderr.isatty():
            typer.echo(f"looking at {field.name} ({len(told) + 1} of {len(counted)})", err=True)
        told[field.sha256] = tell(field)
    return told


def _accepted(count: Count, told: dict[str, Told]) -> list[Acceptance]:
    from prepcheck.agreement.acceptance import accept as hold_against
    from prepcheck.agreement.compare import TOOL, side_by_side

    return [
        hold_against(side_by_side((person, TOOL), [made, [told[one.sha256].counted for one in made]]))
        for person, both in count.by_person().items()
        for made in [[one for _, one in both]]
    ]
