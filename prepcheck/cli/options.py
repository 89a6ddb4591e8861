"""Options that several commands share."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

if TYPE_CHECKING:
    from prepcheck.store import StoreAddress
else:
    StoreAddress = (
        object  # typer looks at the class as soon as it is named, and the real one loads more than --help needs
    )


def _address(text: str) -> StoreAddress:
    from prepcheck.store import password_in, read_address

    if password_in(text) and any(text in word for word in sys.argv):
        typer.echo("A password on the command line can be read by others: use PGPASSWORD or ~/.pgpass.", err=True)
    return read_address(text)


def folder_of(store: StoreAddress | None) -> Path:
    """Return the folder of the store that a command was given: photos, keys, and what the page needs."""
    from prepcheck.store import default_folder

    return default_folder() if store is None else store.folder


Store = Annotated[
    StoreAddress | None,
    typer.Option(
        "--store",
        envvar="PREPCHECK_STORE",
        parser=_address,
        metavar="FOLDER",
        help="Folder of the log, or postgresql://USER@HOST/DATABASE?folder=FOLDER; the user's data folder otherwise.",
    ),
]
SettingsFile = Annotated[
    Path | None, typer.Option("--settings", envvar="PREPCHECK_SETTINGS", help="TOML file with other thresholds.")
]
Units = Annotated[
    Literal["metric", "us"] | None,
    typer.Option("--units", help="Units of what is shown; the shop's setting otherwise."),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON Lines instead of a table.")]
