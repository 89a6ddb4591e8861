"""``prepcheck photos``: where the photos of the log are kept, and moving them."""

from __future__ import annotations

import json as json_module
from typing import Annotated

import typer

from prepcheck.cli.commands import Commands
from prepcheck.cli.options import Json, Store, folder_of
from prepcheck.errors import printable

app = Commands("Show where the photos of the log are kept, and move them.")


@app.command()
def where(json: Json = False, store: Store = None) -> None:
    """Show where the photos of the log are kept. No server is asked."""
    from prepcheck.archive import open_archive

    place = printable(open_archive(folder_of(store)).place)
    typer.echo(json_module.dumps({"place": place}) if json else f"The photos of this log are in {place}")


@app.command()
def move(
    to: Annotated[
        str,
        typer.Argument(help="Address in an object store, such as s3://bucket/folder; or: folder, for that of the log."),
    ],
    json: Json = False,
    store: Store = None,
) -> None:
    """Copy all photos of the log to another place, check each, and from then on keep them there.

    Credentials come from the environment or the files that are usual for the object store, never from here.
    Stop prepcheck serve before: it goes on with the old place until it is started again.
    """
    from prepcheck.archive import open_archive
    from prepcheck.archive.place import move_photos

    folder = folder_of(store)
    old = printable(open_archive(folder).place)
    new, count = move_photos(folder, to)
    place = printable(new.place)
    if json:
        typer.echo(json_module.dumps({"place": place, "before": old, "photos": count}))
        return
    typer.echo(f"{count:,} photos are in {place} now, and new ones go there.")
    typer.echo(f"The old ones are still in {old}. Delete them there: what is erased from the log stays in that copy.")
