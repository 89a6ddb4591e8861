"""``prepcheck person``: who works with this log, with which role, and their PINs."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from prepcheck.cli.commands import Commands
from prepcheck.cli.moment import now
from prepcheck.cli.options import Json, LogOptions
from prepcheck.cli.output import say, say_all
from prepcheck.cli.pins import NewPinFile, PinFile, new_pin, pin_of

app = Commands(
    "Name people, their roles and PINs. A welder logs; a releaser also releases hold points; a keeper also names people"
    " and erases. Who has no role may log.",
)


@app.command()
def add(
    name: Annotated[str, typer.Argument(help="The person's name.")],
    role: Annotated[Literal["welder", "releaser", "keeper"], typer.Option(help="What the person may do.")],
    *,
    by: Annotated[
        str | None, typer.Option(help="The keeper who says so; the first person added is the keeper.")
    ] = None,
    pin_file: PinFile = None,
    new_pin_file: NewPinFile = None,
    json: Json = False,
    where: LogOptions,
) -> None:
    """Give a person a role and a PIN, or another role and another PIN."""
    from prepcheck import tasks

    log, _, settings = where.open(create=True)
    by_pin = None if by is None else pin_of(log, by, pin_file)
    pin = new_pin(name, new_pin_file)
    person = tasks.add_person(log, name, role, pin, at=now(), by=by, by_pin=by_pin, settings=settings)
    say(person, f"{person.name} is {person.role} now, with a PIN.", as_json=json)


@app.command("list")
def list_(*, json: Json = False, where: LogOptions) -> None:
    """List the people in this log with their roles."""
    from prepcheck import tasks
    from prepcheck.cli.steps_text import people_table

    log, *_ = where.open()
    people = tasks.list_people(log)
    say_all(people, lambda: people_table(people), as_json=json)


@app.command()
def pin(
    name: Annotated[str, typer.Argument(help="Your name.")],
    *,
    pin_file: PinFile = None,
    new_pin_file: NewPinFile = None,
    where: LogOptions,
) -> None:
    """Change your own PIN. Who forgot theirs gets a new one from a keeper, with person add."""
    from prepcheck import tasks

    log, _, settings = where.open()
    old = pin_of(log, name, pin_file) or ""
    person = tasks.set_pin(log, name, new_pin(name, new_pin_file), old_pin=old, at=now(), settings=settings)
    typer.echo(f"{person.name} has a new PIN.")
