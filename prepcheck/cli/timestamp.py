"""``prepcheck timestamp``: a timestamp of another over a bag's signature. Nothing is sent from here."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from prepcheck.cli.files import read_file
from prepcheck.errors import CannotWrite, NameClash, WrongUse, printable

_MOST = 2**20


def timestamp(
    bag: Annotated[Path, typer.Argument(help="The bag: a folder or a zip file.")],
    request: Annotated[Path | None, typer.Option(help="Write the query for the authority here (.tsq).")] = None,
    reply: Annotated[
        Path | None, typer.Option(help="The authority's reply (.tsr), to check and keep in the bag.")
    ] = None,
    authority: Annotated[
        Path | None, typer.Option(help="Certificate of the authority that you trust (PEM or DER).")
    ] = None,
) -> None:
    """Write the query for a timestamp (RFC 3161) of a bag's signature, or keep the reply in the bag."""
    from prepcheck.archive.timestamp import keep_reply, query

    if (request is None) == (reply is None):
        raise WrongUse("give either --request or --reply", "First the query, then the reply")
    if request is not None:
        _write(request, query(bag))
        typer.echo(
            f"Written: {printable(str(request))}. Send it to an authority as application/timestamp-query, for example:"
        )
        typer.echo("  curl --data-binary @FILE.tsq -H 'Content-Type: application/timestamp-query' ADDRESS > FILE.tsr")
    if reply is not None:
        stamp = keep_reply(bag, read_file(reply, _MOST), None if authority is None else read_file(authority, _MOST))
        typer.echo(f"Kept in the bag: a timestamp of {stamp.at:%Y-%m-%d %H:%M:%S %Z} by {printable(stamp.authority)}")
        if not stamp.proved:
            typer.echo("Its signature was not looked at: that needs the authority's certificate (--authority).")


def _write(path: Path, data: bytes) -> None:
    try:
        with path.open("xb") as file:
            file.write(data)
    except FileExistsError as error:
        raise NameClash("is there already", "Choose another name", str(path)) from error
    except OSError as error:
        raise CannotWrite(f"cannot be written ({error.strerror})", "Choose another place", str(path)) from error
