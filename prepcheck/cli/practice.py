"""``prepcheck practice``: mark residue yourself before you see the tool's answer, then see the difference."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.commands import Commands
from prepcheck.cli.moment import now
from prepcheck.cli.options import Json, LogOptions, ModelName
from prepcheck.cli.output import say, say_all
from prepcheck.errors import WrongUse

if TYPE_CHECKING:
    from prepcheck.photo import Photo
    from prepcheck.practice import Mark
    from prepcheck.tasks.practice import Room, Session

app = Commands(
    "Mark residue yourself before you see the tool's answer, then see the difference.",
)
Number = Annotated[int, typer.Argument(metavar="SESSION", min=1, help="The session's number, as start printed it.")]


@app.command()
def start(
    *,
    photos: Annotated[list[Path] | None, typer.Argument(metavar="PHOTO...", help="Photos to practise on.")] = None,
    person: Annotated[str, typer.Option(help="Who practises; a pseudonym will do.")] = "",
    samples: Annotated[
        bool, typer.Option("--samples", help="Also the sample photos, whose truth is known: rendered, invented scenes.")
    ] = False,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Begin a session; no answer is made before you have marked a photo."""
    from prepcheck.cli import practice_text as text
    from prepcheck.photo import read_bytes
    from prepcheck.samples import unseen
    from prepcheck.tasks.practice import start_practice

    room = _room(where, create=True)
    chosen = [(path.name, read_bytes(path, room.settings.photo.max_bytes)) for path in photos or ()]
    session = start_practice(room, [*chosen, *(unseen() if samples else ())], person=person, at=now())
    say(text.session_json(session), "\n".join(text.started(session)), as_json=json)


@app.command()
def mark(
    session: Number,
    photo: Annotated[str, typer.Argument(help="The photo's place in the session, such as 1, or its name.")],
    *,
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="[MARK]",
            help="PNG of the photo's size (white residue, grey 128 not sure, black nothing), or a file of outlines as for"
            " inspect --outlines.",
        ),
    ] = None,
    nothing: Annotated[bool, typer.Option("--nothing", help="You see no residue in this photo.")] = False,
    where: LogOptions,
) -> None:
    """Fix where you see residue; what is fixed stays, and only then is the answer shown."""
    from prepcheck.cli import practice_text as text
    from prepcheck.tasks.practice import find_practice, mark_practice

    room = _room(where)
    found = find_practice(room, session)
    position = _position(found, photo)
    made = _mark(file, nothing, room.photo(found.photo(position)))
    marked = mark_practice(room, session, position, made, person=found.person, at=now())
    typer.echo("\n".join(text.marked(marked, position)))


@app.command()
def show(
    session: Number,
    *,
    pictures: Annotated[
        Path | None, typer.Option(help="Folder for a picture of the difference of each marked photo.")
    ] = None,
    model: ModelName = None,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Show the difference on the photos that are marked; the others stay hidden."""
    from prepcheck.cli import practice_text as text
    from prepcheck.surface import load_model
    from prepcheck.tasks.practice import find_practice, show_practice
    from prepcheck.tasks.shop_fit import shop_model

    room = _room(where)
    found, eye = find_practice(room, session), shop_model(room.store, room.settings, load_model(model))
    for position, one in enumerate(found.photos, 1):
        if one.sha256 in found.marks:
            shown = show_practice(room, found, position, eye, at=now())
            if pictures is not None:
                text.write_pictures(pictures, position, one.name, shown)
            if not json:
                typer.echo("\n".join(text.photo(position, one.name, shown)))
    say(
        text.session_json(find_practice(room, session)),
        "\n".join(text.session(find_practice(room, session), eye.origin.sha256)),
        as_json=json,
    )


@app.command("list")
def list_(*, json: Json = False, where: LogOptions) -> None:
    """List all sessions of this log."""
    from prepcheck.cli import practice_text as text
    from prepcheck.tasks.practice import list_practice

    sessions = list_practice(_room(where))
    say_all(
        (text.session_json(one) for one in sessions),
        lambda: "\n".join(map(text.in_one_line, sessions)) or "No practice session in this log yet.",
        as_json=json,
    )


@app.command()
def progress(
    person: Annotated[str, typer.Option(help="Whose sessions.")],
    *,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Tell how a person's sessions came out, in order; no grades."""
    from prepcheck.cli import practice_text as text
    from prepcheck.tasks.practice import list_practice

    sessions = list_practice(_room(where), person)
    if not sessions:
        raise WrongUse("has no practice session in this log", "Begin one with prepcheck practice start", person)
    say_all((text.session_json(one) for one in sessions), lambda: "\n".join(text.progress(sessions)), as_json=json)


def _room(where: LogOptions, *, create: bool = False) -> Room:
    from prepcheck.samples import sample_of
    from prepcheck.tasks.practice import open_room

    log, archive, settings = where.open(create=create)
    return open_room(where.store, (log, archive), sample_of, settings)


def _position(session: Session, photo: str) -> int:
    if photo.isascii() and photo.isdigit() and len(photo) < 5:
        return int(photo)
    found = [at for at, one in enumerate(session.photos, 1) if one.name == Path(photo).name]
    if len(found) != 1:
        raise WrongUse("is no photo of this session, or several have its name", "Give its place, such as 1", photo)
    return found[0]


def _mark(file: Path | None, nothing: bool, photo: Photo) -> Mark:
    from prepcheck.outline_file import read_outlines
    from prepcheck.photo import read_bytes
    from prepcheck.practice import filled, from_png
    from prepcheck.practice.mark import MOST_MASK_BYTES

    if nothing == (file is not None):
        raise WrongUse("a mark is a file or --nothing, one of the two", "Give one of them", photo.name)
    shape = photo.rgb.shape[:2]
    if file is None:
        return filled([], shape, photo.reduction)
    if file.suffix.lower() == ".json":
        return filled(read_outlines(file).drawn, shape, photo.reduction)
    return from_png(read_bytes(file, MOST_MASK_BYTES), (photo.width, photo.height), shape, file.name)
