"""Forms as data: what is asked, how, and what was typed. The template lays them out; no rule of the trade lies here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated, Literal, TypeVar

from fastapi import Depends, Request
from pydantic import BaseModel
from starlette.datastructures import UploadFile

from prepcheck.errors import PrepcheckError, WrongUse
from prepcheck.trade import typed

Said = Mapping[str, str]
Kind = Literal["line", "number", "whole", "text area", "choice", "list", "tick", "day", "time", "pin"]
M = TypeVar("M", bound=BaseModel)
_MOST_FIELDS = 60


@dataclass(frozen=True)
class Field:
    """One thing that is asked.

    Parameters
    ----------
    name, label : str
        As it is sent, and as a person reads it.
    hint : str
        What may be typed.
    kind : str
        How it is asked.
    choices : tuple of (str, str)
        What can be chosen, each with its label.
    needed : bool
        Whether it may not be left out.
    value : str
        What stands there at first.
    most : int
        Longest text in characters.
    complete : str
        The browser's word for what it may fill in.
    """

    name: str
    label: str
    hint: str = ""
    kind: Kind = "line"
    choices: tuple[tuple[str, str], ...] = ()
    needed: bool = False
    value: str = ""
    most: int = 80
    complete: str = ""


@dataclass(frozen=True)
class Form:
    """A form: `said` is what was typed before, `error` why that could not be used; `rarely` is folded away."""

    action: str
    submit: str
    fields: tuple[Field, ...]
    rarely: tuple[Field, ...] = ()
    hidden: tuple[tuple[str, str], ...] = ()
    said: Said = field(default_factory=dict)
    error: PrepcheckError | None = None
    title: str = ""
    words: str = ""
    lesser: bool = False
    """Whether its button is not the one that the page is for."""
    prefix: str = ""
    """Of the fields' ids, where several forms stand on one page."""


def choices(words: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Return words as choices that read as they are sent."""
    return tuple((word, word) for word in words)


async def sent(request: Request) -> dict[str, str]:
    """Return the texts of a form that was sent, without those left empty; files are not among them."""
    async with request.form(max_files=0, max_fields=_MOST_FIELDS) as form:
        texts = {name: value for name, value in form.items() if not isinstance(value, UploadFile)}
    return {name: value.strip() for name, value in texts.items() if value.strip()}


SentForm = Annotated[dict[str, str], Depends(sent)]


def needed(said: Said, name: str, what: str) -> str:
    """Return what was typed; `WrongUse` when nothing was."""
    return typed.needed(said.get(name), what)


def number(said: Said, name: str, what: str) -> float | None:
    """Read a number with a point or a comma, None where nothing was typed."""
    return typed.number(said.get(name), what)


def whole(said: Said, name: str, what: str) -> int | None:
    """Read a whole number, None where nothing was typed."""
    found = number(said, name, what)
    if found is None:
        return None
    if not found.is_integer():
        raise WrongUse(f"{what} is no whole number", "Write it like 3", said[name][:40])
    return int(found)


def moment(said: Said, name: str, now: datetime, what: str) -> datetime:
    """Read a time: ``13:40`` is of today, one without offset is of the computer's zone, nothing is now."""
    text = said.get(name, "")[:40]
    if not text:
        return now
    try:
        found = datetime.fromisoformat(text if len(text) > 5 else f"{now:%Y-%m-%d} {text.zfill(5)}")
    except ValueError as error:
        raise WrongUse(f"{what} is no time", 'Write it like "13:40" or "2026-11-24 13:40"', text) from error
    return found if found.tzinfo else found.replace(tzinfo=now.tzinfo)
