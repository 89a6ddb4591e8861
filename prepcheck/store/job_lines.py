"""How each job stands now, and what each person logged in it, kept beside the log so that a list need not read all of it.

Importing this loads SQLAlchemy.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from prepcheck.store import tables as t
from prepcheck.store.rows import Job, JobLine
from prepcheck.terms import Standing

_JOB = [t.jobs.c[name] for name in Job.__dataclass_fields__ if name != "opened_by"]


def move_job_line(connection: sa.Connection, job_id: int, inspection: int) -> None:
    """Count an inspection that was just added in the line of its job."""
    lines = t.job_lines
    spots = sa.select(sa.func.count()).where(t.spots.c.job_id == job_id).scalar_subquery()
    last = connection.execute(_told(inspection)).one()
    now = {"spots": spots, "last_id": inspection, "last_standing": last.standing, "last_at": last.at}
    mine = sa.update(lines).where(lines.c.job_id == job_id)
    if connection.execute(mine.values(inspections=lines.c.inspections + 1, **now)).rowcount == 0:
        connection.execute(sa.insert(lines).values(job_id=job_id, inspections=1, **now))


def move_person_line(connection: sa.Connection, person_id: int, job_id: int, inspection: int) -> None:
    """Count an inspection that was just added in the line of the person in its job."""
    lines = t.person_lines
    mine = sa.update(lines).where(lines.c.person_id == person_id, lines.c.job_id == job_id)
    if connection.execute(mine.values(inspections=lines.c.inspections + 1, last_id=inspection)).rowcount == 0:
        told = {"inspections": 1, "first_id": inspection, "last_id": inspection}
        connection.execute(sa.insert(lines).values(person_id=person_id, job_id=job_id, **told))


def list_jobs(
    connection: sa.Connection, standing: Standing | None = None, newest: int | None = None, before: str | None = None
) -> list[JobLine]:
    """Return jobs, newest first: at most `newest`, opened before job `before`, last seen with `standing`."""
    lines = t.job_lines.c
    counted = [lines.spots, lines.inspections, lines.last_standing, lines.last_at]
    query = jobs_with(*counted).outerjoin_from(t.jobs, t.job_lines, lines.job_id == t.jobs.c.id)
    number = t.jobs.c.id
    if standing is not None:
        number = lines.job_id  # so that the index over standing and job is walked, and not all jobs
        query = query.where(lines.last_standing == standing.value)
    if before is not None:
        query = query.where(number < sa.select(t.jobs.c.id).where(t.jobs.c.number == before).scalar_subquery())
    return [_line(row) for row in connection.execute(query.order_by(number.desc()).limit(newest))]


def count_jobs(connection: sa.Connection, before: str | None = None) -> int:
    """Return how many jobs there are, or were before one was opened: rows are numbered from 1, and none is left out."""
    if before is not None:
        return int(connection.execute(sa.select(t.jobs.c.id - 1).where(t.jobs.c.number == before)).scalar_one())
    return connection.scalar(sa.select(sa.func.coalesce(sa.func.max(t.jobs.c.id), 0))) or 0


def jobs_with(*columns: Any) -> sa.Select[Any]:
    """Return the query of jobs, with who opened them and `columns` beside."""
    opener = t.people.c.name.label("opened_by")
    return sa.select(*_JOB, opener, *columns).join_from(t.jobs, t.people, t.people.c.id == t.jobs.c.opened_by)


def job_of(row: Any) -> Job:
    """Return the job in a row of `jobs_with`."""
    return Job(**{name: getattr(row, name) for name in Job.__dataclass_fields__})


def _told(inspection: int) -> sa.Select[Any]:
    """When an inspection was, and the standing of the spot that it is tied to, or of its photo."""
    i = t.inspections
    tied = sa.and_(t.outlines.c.inspection_id == i.c.id, t.outlines.c.spot_id.is_not(None))
    standing = sa.func.coalesce(t.outlines.c.standing, t.results.c.standing).label("standing")
    return (
        sa.select(i.c.at, standing)
        .select_from(i.join(t.results).outerjoin(t.outlines, tied))
        .where(i.c.id == inspection)
    )


def _line(row: Any) -> JobLine:
    standing = None if row.last_standing is None else Standing(row.last_standing)
    return JobLine(job_of(row), row.spots or 0, row.inspections or 0, standing, row.last_at)
