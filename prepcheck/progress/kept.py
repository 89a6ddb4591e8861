"""What the log keeps about a person, and for how long. Pure; deletes nothing."""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True)
class Item:
    """A row of the log: its number and when it was logged."""

    number: int
    at: datetime


@dataclass(frozen=True)
class Kind:
    """What is kept of one kind: at least one item, in order."""

    what: str
    items: tuple[Item, ...]


@dataclass(frozen=True)
class Kept:
    """All that names a person; `role` is the newest one, empty for none."""

    number: int
    name: str
    role: str
    kinds: tuple[Kind, ...]

    @property
    def last(self) -> date | None:
        """The day of the newest item; None where only the name is kept."""
        return max((item.at.date() for kind in self.kinds for item in kind.items), default=None)

    def look_again(self, months: int) -> date | None:
        """Return the day on which a keeper is asked whether the name is still needed."""
        return None if self.last is None else months_after(self.last, months)


def months_after(day: date, months: int) -> date:
    """Return the same day of a later month, the last of that month where it has none, at most the end of 9999."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    if year > date.max.year:
        return date.max
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
