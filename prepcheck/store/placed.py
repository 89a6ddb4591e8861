"""Where inspections lie in the log: job, spot and pass of each. Importing this loads SQLAlchemy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from prepcheck.errors import UnknownRecord
from prepcheck.store import tables as t
from prepcheck.store.store import Store


@dataclass(frozen=True)
class Placed:
    """Where one inspection lies, who answers for it, and of which photo it is."""

    number: int
    job: str
    spot: int
    spot_name: str
    pass_no: int
    person: str
    at: str
    photo_sha256: str


def last_inspection(store: Store) -> int:
    """Return the number of the newest inspection, 0 when there is none."""
    with store.reading() as connection:
        return connection.scalar(sa.select(sa.func.coalesce(sa.func.max(t.inspections.c.id), 0))) or 0


def placed(store: Store, number: int) -> Placed:
    """Return where an inspection lies; an unknown one is an `UnknownRecord`."""
    with store.reading() as connection:
        row = connection.execute(_query().where(t.inspections.c.id == number)).first() if 0 < number < 2**63 else None
    if row is None:
        raise UnknownRecord(
            "no such inspection in this log",
            "Look at the job's inspections",
            f"inspection {number}",
            command="prepcheck job show",
        )
    return Placed(*row)


def placed_after(store: Store, number: int) -> list[Placed]:
    """Return where the inspections after `number` lie, oldest first."""
    with store.reading() as connection:
        query = _query().where(t.inspections.c.id > number).order_by(t.inspections.c.id)
        return [Placed(*row) for row in connection.execute(query)]


def _query() -> sa.Select[Any]:
    i = t.inspections
    of_job = i.join(t.passes).join(t.spots).join(t.jobs, t.jobs.c.id == t.spots.c.job_id)
    return sa.select(
        i.c.id, t.jobs.c.number, t.spots.c.number, t.spots.c.name, t.passes.c.pass_no, t.people.c.name, i.c.at,
        i.c.photo_sha256,
    ).select_from(of_job.join(t.people, t.people.c.id == i.c.person_id))  # fmt: skip
