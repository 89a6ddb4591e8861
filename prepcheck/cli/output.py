"""How commands print what they found: as JSON Lines, or laid out for a terminal."""

from __future__ import annotations

import json
from typing import Any

import typer


def say(thing: Any, words: str, *, as_json: bool) -> None:
    """Print an object of the log as one line of JSON, or what it is in words."""
    print_json(thing) if as_json else typer.echo(words)


def print_json(thing: Any) -> None:
    """Print a record or an object of the log as one line of JSON, in ASCII so that any screen or file takes it."""
    typer.echo(json.dumps(_plain(thing)))


def print_told(thing: Any, **more: Any) -> None:
    """Print an object of the log with `more` beside its own fields, as one line of JSON."""
    typer.echo(json.dumps({**_plain(thing), **{name: _plain(one) for name, one in more.items()}}))


def _plain(thing: Any) -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(type(thing)).dump_python(thing, mode="json")


def print_rich(thing: Any) -> None:
    """Print something that rich lays out, at the width of the terminal."""
    from rich.console import Console

    Console(highlight=False).print(thing)
