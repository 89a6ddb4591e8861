"""``prepcheck erase``: take away what has to go for a lawful reason. A keeper does; hash and reason stay in the log."""

from __future__ import annotations

from typing import Annotated

import typer

from prepcheck.cli.moment import now
from prepcheck.cli.options import SettingsFile, Store
from prepcheck.cli.pins import PinFile, pin_of

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Erase a name, what a job says of its customer, a photo or an entry for a lawful reason. Its hash and the reason"
    " stay, and the log still verifies.",
)
Reason = Annotated[str, typer.Option(help="The lawful reason, in your words; it stays in the log.")]
Keeper = Annotated[str, typer.Option("--by", help="The keeper who erases.")]


@app.command()
def person(
    name: Annotated[str, typer.Argument(help="Whose name and PIN to take out of the log.")],
    reason: Reason,
    by: Keeper,
    pin_file: PinFile = None,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Take a person's name and PIN out of the log. What they did stays, told of a number."""
    from prepcheck import tasks
    from prepcheck.settings import load

    loaded = load(settings)
    log, _ = tasks.open_log(store, loaded, create=False)
    told = tasks.erase_person(log, name, reason=reason, by=by, pin=pin_of(log, by, pin_file), at=now(), settings=loaded)
    typer.echo(f"Erased; entry {told.number} says so. Names that stand in notes and titles are not found by this.")


@app.command()
def job(
    number: Annotated[str, typer.Argument(help="The job's number, such as J-0001.")],
    reason: Reason,
    by: Keeper,
    pin_file: PinFile = None,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Take a job's title, part and customer reference out of the log. All else about it stays."""
    from prepcheck import tasks
    from prepcheck.settings import load

    loaded = load(settings)
    log, _ = tasks.open_log(store, loaded, create=False)
    told = tasks.erase_job(log, number, reason=reason, by=by, pin=pin_of(log, by, pin_file), at=now(), settings=loaded)
    typer.echo(f"Erased; entry {told.number} says so.")


@app.command()
def photo(
    sha256: Annotated[str, typer.Argument(help="The photo's SHA-256, as prepcheck job show --json prints it.")],
    reason: Reason,
    by: Keeper,
    pin_file: PinFile = None,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Take a photo out of the archive. Its hash and what was measured in it stay."""
    from prepcheck import tasks
    from prepcheck.settings import load

    loaded = load(settings)
    log, archive = tasks.open_log(store, loaded, create=False)
    pin = pin_of(log, by, pin_file)
    told = tasks.erase_photo(log, archive, sha256, reason=reason, by=by, pin=pin, at=now(), settings=loaded)
    said = ", ".join(f"entry {one.number}" for one in told) or "an entry of before"
    typer.echo(f"Erased; {said} says so. Copies in bags that were sealed before are not reached by this.")


@app.command()
def entry(
    number: Annotated[int, typer.Argument(help="The entry's number, as prepcheck job show prints it.")],
    reason: Reason,
    by: Keeper,
    pin_file: PinFile = None,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Take the text of an entry out of the log. Steps, seals and erasures stay."""
    from prepcheck import tasks
    from prepcheck.settings import load

    loaded = load(settings)
    log, _ = tasks.open_log(store, loaded, create=False)
    told = tasks.erase_entry(
        log, number, reason=reason, by=by, pin=pin_of(log, by, pin_file), at=now(), settings=loaded
    )
    typer.echo(f"Erased; entry {told.number} says so.")
