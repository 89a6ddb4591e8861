"""Options that several commands share: one by one, and as groups (see `Commands`)."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

if TYPE_CHECKING:
    from prepcheck.archive import Archive
    from prepcheck.settings import Settings
    from prepcheck.store import StoreAddress
    from prepcheck.store.store import Store as OpenLog
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
ModelName = Annotated[str | None, typer.Option("--model", help="Another model of the registry.")]
PaperSize = Annotated[
    Literal["a4", "letter"] | None,
    typer.Option("--paper", help="Paper of the PDF; the shop's setting otherwise."),
]
Hatch = Annotated[
    bool,
    typer.Option(
        "--hatch/--no-hatch", help="Look at the photos again to hatch what was mapped; about a second for each."
    ),
]
JobNumber = Annotated[str, typer.Argument(help="The job's number, such as J-0001.")]


@dataclass(frozen=True)
class LogOptions:
    """Which log a command works with, and by which settings."""

    settings: SettingsFile = None
    store: Store = None

    def open(
        self, *, create: bool = False, units: str | None = None, paper: str | None = None
    ) -> tuple[OpenLog, Archive, Settings]:
        """Open the log and its photos, and read the settings, with other units or paper where these were asked for.

        Raises
        ------
        UnknownRecord, StoreFault, BadSettings
            There is no log and `create` is off; it cannot be opened; the settings cannot be used.
        """
        from prepcheck import tasks
        from prepcheck.settings import load

        loaded = load(self.settings).shown_in(units, paper)
        return *tasks.open_log(self.store, loaded, create=create), loaded
