"""Tells a person's work over time from the log: the one place that chains reading and counting."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING

from prepcheck.errors import WrongUse
from prepcheck.progress.blocks import Block, by_month, by_spots
from prepcheck.progress.log import WorkOf, work_of
from prepcheck.progress.misses import Answer, Miss, miss_of
from prepcheck.progress.shots import Shot, SpotWork, spots_of
from prepcheck.progress.work import Beside, Firsts, PassesNeeded, beside_tool, firsts, own_spots, passes_needed
from prepcheck.record import Record
from prepcheck.settings import ProgressSettings
from prepcheck.terms import Standing

if TYPE_CHECKING:
    from prepcheck.store.store import Store


@dataclass(frozen=True)
class Left:
    """A first pass that left residue: what counts of it, its answer as JSON, and what was left."""

    shot: Shot
    text: str = field(repr=False)
    miss: Miss

    @cached_property
    def record(self) -> Record:
        """The answer."""
        return Record.model_validate_json(self.text)


@dataclass(frozen=True)
class PersonWork:
    """A person's spots over time.

    `since` and `until` are the days asked for, None for no bound; `left` are the first passes with residue whose answer
    says what was left; `models` are the SHA-256 of the models that answered for the first passes, `fitted` how many of
    those answers were read with a fit of the shop's own.
    """

    name: str
    since: date | None
    until: date | None
    spots: tuple[SpotWork, ...]
    firsts: Firsts
    needed: PassesNeeded
    left: tuple[Left, ...]
    months: tuple[Block, ...]
    blocks: tuple[Block, ...]
    beside: Beside
    models: tuple[str, ...]
    fitted: int = 0

    @property
    def days(self) -> tuple[date, date] | None:
        """The days of the first and the last spot; None without any."""
        return (self.spots[0].passes[0].at.date(), self.spots[-1].passes[0].at.date()) if self.spots else None

    @property
    def jobs(self) -> int:
        """How many jobs the spots are of."""
        return len({spot.job for spot in self.spots})

    @property
    def invented(self) -> bool:
        """Whether some of the jobs say that they are invented."""
        return any(spot.passes[0].invented for spot in self.spots)


def tell_person(
    store: Store, name: str, settings: ProgressSettings, since: date | None = None, until: date | None = None
) -> PersonWork:
    """Tell a person's spots that were begun on a day from `since` to `until`, both included.

    Raises
    ------
    UnknownRecord
        No such person, or erased.
    WrongUse
        `until` lies before `since`.
    """
    if since is not None and until is not None and until < since:
        raise WrongUse("ends before it begins", "Give --since the earlier day", f"{since} to {until}")
    work = work_of(store, name)
    spots = own_spots(spots_of(work.shots), work.name, since, until)
    begun = [spot.first for spot in spots if spot.first is not None]
    left, origins = _read(begun, store.record_texts([one.number for one in begun]), settings)
    return PersonWork(
        name=work.name,
        since=since,
        until=until,
        spots=tuple(spots),
        firsts=firsts(spots),
        needed=passes_needed(spots),
        left=tuple(left),
        months=tuple(by_month(spots)),
        blocks=tuple(by_spots(spots, settings.block_spots)),
        beside=beside_tool(_between(work, spots), work.opinions),
        models=tuple(sorted({model for model, _ in origins})),
        fitted=sum(count for (_, fit), count in origins.items() if fit is not None),
    )


def _read(
    begun: Sequence[Shot], texts: Mapping[int, str], settings: ProgressSettings
) -> tuple[list[Left], Counter[tuple[str, str | None]]]:
    """Read the answers of first passes one by one: what was left, and how many are of each model and shop's fit."""
    left, origins = [], Counter[tuple[str, str | None]]()
    for shot in begun:
        answer = Answer.model_validate_json(texts[shot.number])
        origins[answer.origin.model_sha256, answer.origin.shop_fit] += 1
        miss = miss_of(answer, shot.outline, settings) if shot.standing is Standing.RESIDUE_LEFT else None
        if miss is not None:
            left.append(Left(shot, texts[shot.number], miss))
    return left, origins


def _between(work: WorkOf, spots: list[SpotWork]) -> list[Shot]:
    """Return the shots of these spots alone, so that opinions are of the days asked for."""
    asked = {(spot.job, spot.spot) for spot in spots}
    return [one for one in work.shots if (one.job, one.spot) in asked]
