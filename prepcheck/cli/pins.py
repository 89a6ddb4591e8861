"""PINs on the command line: from a file, from the surroundings, or asked for. Never an argument, never shown."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.errors import WrongUse

if TYPE_CHECKING:
    from prepcheck.store.store import Store

PIN, NEW_PIN = "PREPCHECK_PIN", "PREPCHECK_NEW_PIN"
"""Variables that may hold the PIN of who acts, and a new one."""
_MOST_BYTES = 200

PinFile = Annotated[
    Path | None,
    typer.Option("--pin-file", help=f"File with the PIN of who acts; else {PIN}, else you are asked."),
]
NewPinFile = Annotated[
    Path | None,
    typer.Option("--new-pin-file", help=f"File with the new PIN; else {NEW_PIN}, else you are asked."),
]


def given_pin(file: Path | None) -> str | None:
    """Return the PIN in `file` or in the surroundings, or None; nobody is asked."""
    return _from(file, PIN)


def pin_of(log: Store, person: str, file: Path | None) -> str | None:
    """Return the PIN of who acts; asked for where they have one and sit at a keyboard, None where they have none."""
    from prepcheck.store.words import folded

    pin = _from(file, PIN)
    has_pin = any(one.has_pin and folded(one.name) == folded(person.strip()) for one in log.people())
    if pin is None and has_pin and sys.stdin.isatty():
        return str(typer.prompt(f"PIN of {person}", hide_input=True, err=True))
    return pin


def new_pin(person: str, file: Path | None) -> str:
    """Return a new PIN; one that is typed is typed twice."""
    pin = _from(file, NEW_PIN)
    if pin is not None:
        return pin
    if not sys.stdin.isatty():
        raise WrongUse("no new PIN is given", f"Give --new-pin-file or {NEW_PIN}", person)
    return str(typer.prompt(f"New PIN for {person}", hide_input=True, confirmation_prompt="Once more", err=True))


def _from(file: Path | None, variable: str) -> str | None:
    if file is None:
        return os.environ.get(variable) or None
    from prepcheck.own_file import read_text

    text = read_text(file, _MOST_BYTES, WrongUse).strip()
    if not text or "\n" in text:
        raise WrongUse("holds no PIN, or more than a line", "Write the PIN alone into it", str(file))
    return text
