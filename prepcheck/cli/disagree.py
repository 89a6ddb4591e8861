"""``prepcheck disagree``: a person's own standing beside the tool's answer."""

from __future__ import annotations

from typing import Annotated

import typer

from prepcheck.cli.moment import now
from prepcheck.cli.options import Json, LogOptions
from prepcheck.cli.output import say


def disagree(
    inspection: Annotated[int, typer.Argument(help="Number of the inspection, as prepcheck job show prints it.")],
    standing: Annotated[str, typer.Option(help='"bright", "residue left", "cannot tell" or "retake".')],
    reason: Annotated[str, typer.Option(help="Why, in your words.")],
    person: Annotated[str, typer.Option(help="Who says so.")],
    *,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Log your own standing with a reason. The tool's answer stays in the log as it is."""
    from prepcheck import tasks

    log, *_ = where.open()
    told = tasks.disagree(log, inspection, standing=standing, reason=reason, person=person, at=now())
    words = f"Logged beside inspection {told.inspection}: {told.person} says {told.standing} ({told.reason})"
    say(told, words, as_json=json)
