"""What a report is made from, and how its times and quantities are said: one clock, one system of units."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import PrepcheckError
from prepcheck.record import Record
from prepcheck.report.job.units import pretty, said_in, with_signs
from prepcheck.store.rows import LoggedEvent, LoggedInspection, PassStory, Story, TreeHead
from prepcheck.trade.entries import EntryModel
from prepcheck.trade.facts import Remark
from prepcheck.trade.plan import Line
from prepcheck.trade.steps import JobState
from prepcheck.trade.units import Kind, System, shown

NOT_TOLD = "not told"
E = TypeVar("E", bound=EntryModel)


@dataclass(frozen=True)
class Check:
    """What the checks said about a part of the record, and as of which time: `about` is a kind of plan."""

    about: str
    when: str
    remarks: tuple[Remark, ...]


@dataclass(frozen=True, eq=False)
class Told:
    """Everything that the report is made from. Nothing in it is computed anew.

    Parameters
    ----------
    story : Story
        The job as logged.
    head : TreeHead or None
        Of the whole log at the time of writing.
    now : datetime
        When the report is written, with time zone; all times are shown with its offset.
    system : System
        Units in which quantities are shown.
    photo : callable
        Returns the bytes of a photo by SHA-256; may raise `PrepcheckError`, then the report says so.
    records : mapping of int to Record
        Full answers by the number of their inspection, for outlines and shares; those that are missing are said to be.
    state : JobState or None
        How the steps of the job's plan stand at `now`; None without a plan.
    checks : tuple of Check
        What checks had to say.
    looks : tuple of Line
        What the looks for leaks show together, in order.
    states : callable
        Returns the states mapped in a logged photo (h, w), for the hatches of its picture; None draws none.
    """

    story: Story
    head: TreeHead | None
    now: datetime
    system: System
    photo: Callable[[str], bytes] = field(repr=False)
    records: Mapping[int, Record] = field(default_factory=dict, repr=False)
    state: JobState | None = None
    checks: tuple[Check, ...] = ()
    looks: tuple[Line, ...] = ()
    states: Callable[[Record], NDArray[np.uint8] | None] = field(default=lambda record: None, repr=False)

    @property
    def invented(self) -> bool:
        """Whether the job says that it is invented."""
        job = self.story.job
        return any("invented" in text.casefold() for text in (job.title, job.part, job.customer_reference))

    @cached_property
    def inspections(self) -> tuple[LoggedInspection, ...]:
        """All inspections in the order of their numbers."""
        found = (one for spot in self.story.spots for each in spot.passes for one in each.inspections)
        return tuple(sorted(found, key=lambda one: one.number))

    def when(self, at: str | datetime) -> str:
        """Say a time to the minute with the offset of the time of writing."""
        time = datetime.fromisoformat(at) if isinstance(at, str) else at
        return f"{time.astimezone(self.now.tzinfo):%Y-%m-%d %H:%M}"

    @property
    def offset(self) -> str:
        """The offset of all times shown: ``UTC+01:00``."""
        return f"UTC{self.now.isoformat()[-6:]}" if self.now.utcoffset() else "UTC"

    def say(self, value: float | None, kind: Kind, digits: int = 3) -> str:
        """Say a quantity (inner unit) in the report's units; a dash when it is not known."""
        return "-" if value is None else pretty(shown(value, kind, self.system, digits))

    def tool(self, sentence: str) -> str:
        """Say a sentence that prepcheck wrote when it logged, with its quantities in the report's units."""
        return with_signs(said_in(sentence, self.system))

    def of(self, kind: type[E]) -> list[tuple[LoggedEvent, E]]:
        """Return the events whose entry is of `kind`, each with that entry, in order."""
        return [(event, event.entry) for event in self.story.events if isinstance(event.entry, kind)]

    def photo_or_reason(self, sha256: str) -> bytes | str:
        """Return the bytes of a photo, or why they are not there."""
        try:
            return self.photo(sha256)
        except PrepcheckError as error:
            return error.what


def last_of(one: PassStory) -> LoggedInspection:
    """Return the last inspection of a pass that no later one corrects, the last one when all are corrected."""
    kept = [each for each in one.inspections if not each.corrected_by] or one.inspections
    return kept[-1]


def by(event: LoggedEvent) -> str:
    """Say who logged an event: ``Mika (welder)``."""
    return person(event.person, event.role)


def person(name: str, role: str) -> str:
    """Say a person with the role that was proved: ``Mika (welder)``."""
    return f"{name} ({role})" if role else name
