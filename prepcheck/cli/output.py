"""How commands print what they found: as JSON Lines, or laid out for a terminal."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from typing import Any

import typer


def say(thing: Any, words: str, *, as_json: bool) -> None:
    """Print an object of the log as one line of JSON, or what it is in words."""
    say_all((thing,), lambda: words, as_json=as_json)


def say_all(things: Iterable[Any], words: Callable[[], Any], *, as_json: bool) -> None:
    """Print each thing as one line of JSON, or all of them in words: a text, or something that rich lays out."""
    if as_json:
        for thing in things:
            print_json(thing)
    elif isinstance(told := words(), str):
        typer.echo(told)
    else:
        print_rich(told)


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
