"""How many inspections were logged before a time and since, without reading them. Importing this loads SQLAlchemy."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa

from prepcheck.store import tables as t
from prepcheck.store.store import Store

_ANY_OFFSET = timedelta(days=1)
"""Times are text with the offset of the place: so far apart, they are in the order of their texts whatever the offsets."""


@dataclass(frozen=True)
class Around:
    """How many inspections were logged before a time, and how many at that time or since."""

    before: int
    since: int


def all_around(store: Store, at: datetime) -> Around:
    """Count all inspections around a time."""
    i, low, high = t.inspections, _text(at - _ANY_OFFSET), _text(at + _ANY_OFFSET)
    surely = sa.select(
        sa.func.count(),
        sa.func.coalesce(sa.func.sum(sa.case((i.c.at < low, 1), else_=0)), 0),
    )
    near = sa.select(i.c.at).where(i.c.at >= low, i.c.at < high)
    with store.reading() as connection:
        everything, before = connection.execute(surely.select_from(i)).one()
        before += _before(connection.scalars(near), at)
    return Around(int(before), int(everything - before))


def doubted_around(store: Store, at: datetime) -> Around:
    """Count the inspections with which somebody disagreed, around a time."""
    doubted = sa.select(t.inspections.c.at).where(t.inspections.c.id.in_(sa.select(t.disagreements.c.inspection_id)))
    with store.reading() as connection:
        times = connection.scalars(doubted).all()
    before = _before(times, at)
    return Around(before, len(times) - before)


def _before(times: Iterable[str], at: datetime) -> int:
    return sum(datetime.fromisoformat(one) < at for one in times)


def _text(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S")
