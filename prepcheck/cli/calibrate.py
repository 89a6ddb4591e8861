"""``prepcheck calibrate``: fit the tool to the shop's own metals and light, prove it, take it back, see whether it drifts."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.commands import Commands
from prepcheck.cli.moment import now
from prepcheck.cli.options import Json, LogOptions, ModelName
from prepcheck.cli.output import print_told, say
from prepcheck.cli.pins import PinFile, pin_of
from prepcheck.errors import WrongUse

if TYPE_CHECKING:
    from prepcheck.evaluate.fit_shop_read import Read
    from prepcheck.settings import Settings
    from prepcheck.surface import Model

app = Commands(
    "Fit the tool's last calibration to your own metals and light, from points that your people counted. Used only where"
    " photos that it has not seen are told better, and one command takes it back.",
)
Folders = Annotated[
    list[Path],
    typer.Argument(
        metavar="FOLDER...",
        help="Folders of prepcheck count with filled forms; or images/ with brushed states/NAME.png, 255 where nothing is said.",
    ),
]


@app.command()
def fit(
    folders: Folders,
    person: Annotated[str, typer.Option(help="Who fits; the keeper, where the log has one.")],
    *,
    model: ModelName = None,
    pin_file: PinFile = None,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Fit, and prove it on each photo by a fit that has not seen it. A fit that does not help is refused and changes nothing.

    Exit code 0: taken into use; 1: refused, with the reasons. The evidence is kept either way.
    """
    from prepcheck.cli.calibrate_text import kept_text
    from prepcheck.surface import load_model
    from prepcheck.tasks.shop_fit import keep_fit, may_fit

    own, at = load_model(model), now()
    log, _, settings = where.open(create=True)
    role = may_fit(log, person, pin_of(log, person, pin_file), at, settings)
    read = _read(folders, own, settings)
    kept = keep_fit(log, read, own, settings, person=person, at=at, role=role)
    if json:
        print_told(kept.statement, sha256=kept.sha256, entry=kept.event.number)
    else:
        typer.echo("\n".join(kept_text(kept, settings.score.residue_limit)))
    sys.exit(1 if kept.statement.refused else 0)


@app.command()
def show(*, model: ModelName = None, json: Json = False, where: LogOptions) -> None:
    """Show the fit that is in use, what it rests on, and whether its file and signature are those that were logged."""
    from prepcheck.cli.calibrate_text import used_text
    from prepcheck.surface import load_model
    from prepcheck.tasks.shop_fit import fit_in_use

    log, _, settings = where.open()
    used = fit_in_use(log, load_model(model), settings)
    say(used, "\n".join(used_text(used, settings.score.residue_limit)), as_json=json)
    sys.exit(1 if used.unused else 0)


@app.command()
def back(
    person: Annotated[str, typer.Option(help="Who takes it back; the keeper, where the log has one.")],
    reason: Annotated[str, typer.Option(help="Why.")],
    *,
    pin_file: PinFile = None,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Take the fit back: the tool reads by its own calibration again. What was answered with the fit stays as it is."""
    from prepcheck.tasks.shop_fit import may_fit, take_back

    at = now()
    log, _, settings = where.open()
    role = may_fit(log, person, pin_of(log, person, pin_file), at, settings)
    event = take_back(log, person=person, reason=reason, at=at, role=role)
    say(event, "Taken back: from now on the tool reads by its own calibration.", as_json=json)


@app.command()
def drift(
    *,
    folders: Annotated[
        list[Path] | None, typer.Argument(metavar="[FOLDER...]", help="Folders with recent labels, as for fit.")
    ] = None,
    model: ModelName = None,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Hold the fit against recent labels and disagreements, and say whether they speak against it beyond chance.

    Exit code 1: they do, or the fit cannot be used.
    """
    from prepcheck.cli.calibrate_text import drift_json, drift_text
    from prepcheck.surface import load_model
    from prepcheck.tasks.shop_fit import check_drift, fit_in_use

    own = load_model(model)
    log, _, settings = where.open()
    used = fit_in_use(log, own, settings)
    if used.statement is None or used.unused:
        raise WrongUse(used.unused or "no fit is in use", "See prepcheck calibrate show", log.address.name)
    checks = check_drift(log, used.statement, _read(folders or [], own, settings))
    limit = settings.shop_fit.drift_chance
    say(drift_json(checks, limit), "\n".join(drift_text(used.statement, checks, limit)), as_json=json)
    sys.exit(1 if any(one.speaks_against(limit) for one in checks) else 0)


def _read(folders: list[Path], model: Model, settings: Settings) -> Read:
    from prepcheck.evaluate.fit_shop_read import read_labelled

    def heard(name: str) -> None:
        if sys.stderr.isatty():
            typer.echo(f"looking at {name}", err=True)

    return read_labelled(folders, model, settings, heard)
