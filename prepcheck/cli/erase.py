"""``prepcheck erase``: take away what has to go for a lawful reason. A keeper does; hash and reason stay in the log."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from prepcheck.cli.commands import Commands
from prepcheck.cli.moment import now
from prepcheck.cli.options import JobNumber, LogOptions
from prepcheck.cli.pins import PinFile, pin_of
from prepcheck.errors import printable

if TYPE_CHECKING:
    from prepcheck.settings import Settings
    from prepcheck.store.store import Store
    from prepcheck.tasks import Erasure

app = Commands(
    "Erase a name, what a job says of its customer, a photo or an entry for a lawful reason. Its hash and the reason"
    " stay, and the log still verifies.",
)
Counts = Annotated[
    list[Path] | None,
    typer.Option(
        metavar="FOLDER", help="A folder that prepcheck count grid made outside the store; give it again for more."
    ),
]
ELSEWHERE = (
    "The log does not know of folders elsewhere: look yourself through folders of prepcheck count (--counts FOLDER does"
    " it), of batch and reports, bags sealed before, exports and backups."
)


@dataclass(frozen=True)
class Keeper:
    """Who erases, and why."""

    reason: Annotated[str, typer.Option(help="The lawful reason, in your words; it stays in the log.")]
    by: Annotated[str, typer.Option("--by", help="The keeper who erases.")]
    pin_file: PinFile = None

    def says(self, log: Store, settings: Settings) -> dict[str, Any]:
        """Return what every erasure is told besides what to erase."""
        pin = pin_of(log, self.by, self.pin_file)
        return {"reason": self.reason, "by": self.by, "pin": pin, "at": now(), "settings": settings}


@app.command()
def person(
    name: Annotated[str, typer.Argument(help="Whose name and PIN to take out of the log.")],
    keeper: Keeper,
    where: LogOptions,
    counts: Counts = None,
) -> None:
    """Take a person's name and PIN out of the log, and off the forms of counts. What they did stays, told of a number."""
    from prepcheck import tasks

    log, _, settings = where.open()
    done = tasks.erase_person(log, name, counts=counts or (), **keeper.says(log, settings))
    typer.echo(f"Erased; {_entries(done)} says so. Names that stand in notes and titles are not found by this.")
    _say_counts(done)


@app.command()
def job(number: JobNumber, keeper: Keeper, where: LogOptions) -> None:
    """Take a job's title, part and customer reference out of the log. All else about it stays."""
    from prepcheck import tasks

    log, _, settings = where.open()
    told = tasks.erase_job(log, number, **keeper.says(log, settings))
    typer.echo(f"Erased; entry {told.number} says so.")


@app.command()
def photo(
    sha256: Annotated[str, typer.Argument(help="The photo's SHA-256, as prepcheck job show --json prints it.")],
    keeper: Keeper,
    where: LogOptions,
    counts: Counts = None,
) -> None:
    """Take a photo out of the archive, out of counts and practice. Its hash and what was measured in it stay.

    What people said of it in a count is set aside in erased/ of that count's folder.
    """
    from prepcheck import tasks

    log, archive, settings = where.open()
    done = tasks.erase_photo(log, archive, sha256, counts=counts or (), **keeper.says(log, settings))
    typer.echo(f"Erased; {_entries(done)} says so. Copies in bags that were sealed before are not reached by this.")
    _say_counts(done)


@app.command()
def entry(
    number: Annotated[int, typer.Argument(help="The entry's number, as prepcheck job show prints it.")],
    keeper: Keeper,
    where: LogOptions,
) -> None:
    """Take the text of an entry out of the log. Steps, seals and erasures stay."""
    from prepcheck import tasks

    log, _, settings = where.open()
    told = tasks.erase_entry(log, number, **keeper.says(log, settings))
    typer.echo(f"Erased; entry {told.number} says so.")


def _entries(done: Erasure) -> str:
    return ", ".join(f"entry {one.number}" for one in done.events) or "an entry of before"


def _say_counts(done: Erasure) -> None:
    """Say in which counts something was erased, which files a person has to look into, and what is not known."""
    for one in done.counts:
        if one.files:
            files = f"{one.files} file{'' if one.files == 1 else 's'}"
            typer.echo(f"Count {printable(str(one.folder))}: {files} changed or taken away.")
        for line in one.unread:
            typer.echo(f"Count {printable(str(one.folder))}: look yourself: {line}")
    looked = f"{len(done.counts)} count{'' if len(done.counts) == 1 else 's'}"
    typer.echo(f"Looked through {looked}. {ELSEWHERE}")
