"""``prepcheck disagree``: a person's own standing beside the tool's answer."""

from __future__ import annotations

from typing import Annotated

import typer

from prepcheck.cli.options import Json, SettingsFile, Store


def disagree(
    inspection: Annotated[int, typer.Argument(help="Number of the inspection, as prepcheck job show prints it.")],
    standing: Annotated[str, typer.Option(help='"bright", "residue left", "cannot tell" or "retake".')],
    reason: Annotated[str, typer.Option(help="Why, in your words.")],
    person: Annotated[str, typer.Option(help="Who says so.")],
    json: Json = False,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Log your own standing with a reason. The tool's answer stays in the log as it is."""
    from prepcheck import tasks
    from prepcheck.cli.job import now, print_json
    from prepcheck.settings import load

    log, _ = tasks.open_log(store, load(settings), create=False)
    told = tasks.disagree(log, inspection, standing=standing, reason=reason, person=person, at=now())
    if json:
        print_json(told)
    else:
        typer.echo(f"Logged beside inspection {told.inspection}: {told.person} says {told.standing} ({told.reason})")
