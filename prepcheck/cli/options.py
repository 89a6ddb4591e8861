"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

Store = Annotated[
    Path | None,
    typer.Option("--store", envvar="PREPCHECK_STORE", help="Folder of the log; the user's data folder otherwise."),
]
SettingsFile = Annotated[
    Path | None, typer.Option("--settings", envvar="PREPCHECK_SETTINGS", help="TOML file with other thresholds.")
]
Units = Annotated[
    Literal["metric", "us"] | None,
    typer.Option("--units", help="Units of what is shown; the shop's setting otherwise."),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON Lines instead of a table.")]
