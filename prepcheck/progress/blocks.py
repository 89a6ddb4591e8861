"""First passes over time: by month, or by so many spots. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from prepcheck.progress.shots import Shot, SpotWork
from prepcheck.progress.tally import Tally
from prepcheck.terms import Standing

JUDGED = (Standing.BRIGHT, Standing.RESIDUE_LEFT)


@dataclass(frozen=True)
class Block:
    """A stretch of a person's work: its `label`, and the first passes in it that were bright, out of those judged."""

    label: str
    tally: Tally


def by_month(spots: Sequence[SpotWork]) -> list[Block]:
    """Count first passes by calendar month; months without any are left out."""
    months = groupby(_judged(spots), key=lambda one: (one.at.year, one.at.month))
    return [Block(f"{year}-{month:02}", _tally(list(of_month))) for (year, month), of_month in months]


def by_spots(spots: Sequence[SpotWork], size: int) -> list[Block]:
    """Count first passes in blocks of `size` spots, in order of time; the last block may hold fewer."""
    judged = _judged(spots)
    starts = range(0, len(judged), size)
    return [Block(_span(k + 1, len(judged[k : k + size])), _tally(judged[k : k + size])) for k in starts]


def _judged(spots: Sequence[SpotWork]) -> list[Shot]:
    found = [spot.first for spot in spots if spot.first is not None and spot.first.standing in JUDGED]
    return sorted(found, key=lambda one: (one.at, one.number))


def _tally(shots: Sequence[Shot]) -> Tally:
    return Tally(sum(one.standing is Standing.BRIGHT for one in shots), len(shots))


def _span(start: int, count: int) -> str:
    return str(start) if count == 1 else f"{start}-{start + count - 1}"
