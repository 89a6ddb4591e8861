"""Reading what a person typed into a form or behind an option; None stands for nothing typed. Loads nothing heavy."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING, Any, TypeVar

from prepcheck.errors import WrongUse

if TYPE_CHECKING:
    from pydantic import BaseModel

M = TypeVar("M", bound="BaseModel")
W = TypeVar("W", bound=str)


def needed(text: str | None, what: str) -> str:
    """Return what was typed; `WrongUse` when nothing was."""
    if text is None:
        raise WrongUse(f"{what} is missing", "Fill it in")
    return text


def word(text: str, kind: Callable[[str], W], what: str) -> W:
    """Return one of the words of `kind`; `WrongUse` for any other."""
    try:
        return kind(text)
    except ValueError as error:
        raise WrongUse(f"{what} is none that can be chosen", "Choose one of the list", text[:40]) from error


def number(text: str | None, what: str) -> float | None:
    """Read a number with a point or a comma."""
    try:
        return None if text is None else float(text.strip()[:40].replace(",", "."))
    except ValueError as error:
        raise WrongUse(f"{what} is no number", "Write it like 20.9, without a unit", (text or "")[:40]) from error


def day(text: str | None, what: str) -> date | None:
    """Read a day such as 2026-11-24."""
    try:
        return None if text is None else date.fromisoformat(text.strip()[:40])
    except ValueError as error:
        raise WrongUse(f"{what} is no day", "Write it like 2026-11-24", (text or "")[:40]) from error


def lines(text: str | None) -> tuple[str, ...]:
    """Return what stands on each line, without empty ones."""
    return tuple(line.strip() for line in (text or "").splitlines() if line.strip())


def made(kind: type[M], /, **told: Any) -> M:
    """Make something checked of what was typed, such as an entry; what does not fit is told in one line."""
    from pydantic import ValidationError

    from prepcheck.own_file import first_fault

    try:
        return kind.model_validate(told)
    except ValidationError as error:
        raise WrongUse(first_fault(error).replace("_", " "), "Check it") from error
