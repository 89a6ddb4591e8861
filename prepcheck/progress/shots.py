"""What was logged, in short, and which of it counts for whom. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import NamedTuple

from prepcheck.terms import Standing


class Shot(NamedTuple):
    """One logged photo or moved-light set, in short.

    `standing` is that of the outline tied to the spot, whose number in the photo is `outline`, of the photo where there is
    none; `title` is the job's; `corrects` is the number of the inspection that this one corrects.
    """

    number: int
    job: str
    title: str
    spot: int
    spot_name: str
    pass_no: int
    person: str
    at: datetime
    standing: Standing
    outline: int | None = None
    corrects: int | None = None

    @property
    def invented(self) -> bool:
        """Whether the job says that it is invented."""
        return "invented" in self.title.casefold()


@dataclass(frozen=True)
class Opinion:
    """A person's own standing beside the tool's answer of an inspection, with the reason."""

    inspection: int
    standing: Standing
    reason: str


@dataclass(frozen=True)
class SpotWork:
    """A spot with what counts of each pass that was logged on it, in order of passes; at least one."""

    job: str
    spot: int
    passes: tuple[Shot, ...]

    @property
    def first(self) -> Shot | None:
        """What counts of the first pass; None where the first pass was not logged."""
        return self.passes[0] if self.passes[0].pass_no == 1 else None

    @cached_property
    def bright_at(self) -> int | None:
        """Number of the pass at which the spot was bright for the first time; None where it was not yet."""
        return next((one.pass_no for one in self.passes if one.standing is Standing.BRIGHT), None)


def credited(shots: Iterable[Shot]) -> tuple[Shot, ...]:
    """Return the shots that no later one corrects, a correction in the name of who logged what it corrects.

    Who corrects a slip of somebody else did not grind that spot.
    """
    known = {one.number: one for one in shots}
    corrected = {one.corrects for one in known.values()}
    return tuple(_in_the_name_of(one, _root(one, known)) for one in known.values() if one.number not in corrected)


def _root(shot: Shot, known: dict[int, Shot]) -> Shot:
    while shot.corrects is not None and shot.corrects in known:
        shot = known[shot.corrects]
    return shot


def _in_the_name_of(shot: Shot, first: Shot) -> Shot:
    return shot if shot.person == first.person else shot._replace(person=first.person)


def spots_of(shots: Sequence[Shot]) -> list[SpotWork]:
    """Group what counts by spot, in the order in which the spots were begun.

    Of a pass counts the newest photo that was fit to judge; one to retake only where the pass has no other. The pass is
    that of whoever logged its first photo: a second look by somebody else is not their grinding.
    """
    by_spot: dict[tuple[str, int], dict[int, list[Shot]]] = defaultdict(lambda: defaultdict(list))
    for one in shots:
        by_spot[one.job, one.spot][one.pass_no].append(one)
    spots = [
        SpotWork(job, spot, tuple(_counts(passes[number]) for number in sorted(passes)))
        for (job, spot), passes in by_spot.items()
    ]
    return sorted(spots, key=lambda spot: (spot.passes[0].at, spot.passes[0].number))


def _counts(of_pass: list[Shot]) -> Shot:
    if len(of_pass) == 1:
        return of_pass[0]
    newest = max(of_pass, key=lambda one: (one.standing is not Standing.RETAKE, one.number))
    return _in_the_name_of(newest, min(of_pass, key=lambda one: one.number))
