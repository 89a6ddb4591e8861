"""What of which photo a job has logged, with the key of each answer. Importing this loads SQLAlchemy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from prepcheck.store import tables as t
from prepcheck.store.store import Store


@dataclass(frozen=True)
class Answered:
    """One inspection: its number, its place, its photo (the first of a set), and what its answer depends on.

    `outline` is the one that is the spot, `corrected` whether a later inspection corrects this one.
    """

    number: int
    spot: int
    spot_name: str
    pass_no: int
    person: str
    photo_sha256: str
    version: str
    model_sha256: str
    settings_sha256: str
    inputs_sha256: str
    outline: int | None = None
    corrected: bool = False


def answered(store: Store, job: str) -> list[Answered]:
    """Return the inspections of a job, oldest first; none for an unknown job."""
    i, r = t.inspections, t.results
    corrected = sa.select(i.c.corrects).where(i.c.corrects.is_not(None))
    query: sa.Select[Any] = (
        sa.select(
            i.c.id, t.spots.c.number, t.spots.c.name, t.passes.c.pass_no, t.people.c.name.label("person"), i.c.photo_sha256,
            r.c.version, r.c.model_sha256, r.c.settings_sha256, r.c.inputs_sha256, i.c.outline, i.c.id.in_(corrected),
        )
        .select_from(
            i.join(t.passes).join(t.spots).join(t.jobs, t.jobs.c.id == t.spots.c.job_id)
            .join(t.people, t.people.c.id == i.c.person_id).join(r, r.c.id == i.c.result_id)
        )
        .where(t.jobs.c.number == job)
        .order_by(i.c.id)
    )  # fmt: skip
    with store.reading() as connection:
        return [Answered(*row) for row in connection.execute(query)]
