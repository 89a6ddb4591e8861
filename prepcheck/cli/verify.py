"""``prepcheck verify``: looks at sealed evidence on any machine, without the log."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.files import read_file
from prepcheck.cli.options import Json
from prepcheck.cli.output import print_json
from prepcheck.errors import printable

if TYPE_CHECKING:
    from prepcheck.archive.verify import Verification

_MOST_CERTIFICATE = 2**20


class Depth(StrEnum):
    """How deep to look; the words of `prepcheck.archive.verify.Depth`, which is not loaded for the help alone."""

    COMPLETE = "complete"
    INTACT = "intact"
    SIGNED = "signed"


_LOOKED_AT = {
    Depth.COMPLETE: "all files there and no others; no hash was computed, no signature looked at",
    Depth.INTACT: "all files there, no others, all hashes; no signature looked at",
    Depth.SIGNED: "all files there, no others, all hashes, the signature, and the sequence of the log",
}


def verify(
    path: Annotated[Path, typer.Argument(help="The bag: a folder or a zip file.")],
    depth: Annotated[
        Depth, typer.Option(help="complete: all files there. intact: all hashes too. signed: signature and log too.")
    ] = Depth.SIGNED,
    key: Annotated[
        str | None,
        typer.Option(
            envvar="PREPCHECK_KEY", help="Number that the shop reads out; a bag from another key is a fault then."
        ),
    ] = None,
    after: Annotated[
        Path | None, typer.Option(help="An older bag of the shop, which this one has to go on from.")
    ] = None,
    authority: Annotated[
        Path | None, typer.Option(help="Certificate of the authority whose timestamps you trust (PEM or DER).")
    ] = None,
    json: Json = False,
) -> int:
    """Look at a bag and tell every fault. Exit code 0: none found, 1: faults found, 3: cannot be read."""
    from prepcheck.archive import verify as use_case

    found = use_case.verify(
        path,
        use_case.Depth(depth.value),
        key=key,
        after=after,
        authority=None if authority is None else read_file(authority, _MOST_CERTIFICATE),
    )
    print_json(found) if json else _say(found)
    return 1 if found.faults else 0


def _say(found: Verification) -> None:
    typer.echo(printable(found.path))
    if found.head is not None:
        typer.echo(f"  says: {printable(found.head.job)}, sealed {found.head.at:%Y-%m-%d %H:%M:%S %Z}, "
                   f"{found.head.entries} entries of the job, log of {found.head.size} entries")  # fmt: skip
        typer.echo(f"  key:  {found.fingerprint}")
    if found.time_rests_on:
        typer.echo(f"  time: {printable(found.time_rests_on)}")
    for line in found.told:
        typer.echo(f"  note: {printable(line)}")
    typer.echo(f'Looked at depth "{found.depth}": {_LOOKED_AT[Depth(found.depth)]}.')
    for fault in found.faults:
        typer.echo(f"  fault ({fault.kind}): {fault.where}: {fault.what}")
    count = len(found.faults)
    typer.echo(
        f"{count} fault{'s' if count > 1 else ''} found." if count else f'No fault found at depth "{found.depth}".'
    )
