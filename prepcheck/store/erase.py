"""What may be erased for a lawful reason: a hash and the reason stay, so that the tree still verifies.

Importing this loads SQLAlchemy.
"""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa

from prepcheck.errors import UnknownRecord, WrongUse
from prepcheck.store import tables as t
from prepcheck.store.append import job_id_of
from prepcheck.store.events import add_event, find_person
from prepcheck.store.rows import LoggedEvent
from prepcheck.trade.entries import Erased


def erase_person(
    connection: sa.Connection, name: str, reason: str, by: str, at: datetime, role: str = ""
) -> LoggedEvent:
    """Take a person's name and PIN out of the log; what they did stays, told of a number."""
    number = find_person(connection, name).number
    alias = f"erased person {number}"
    sha256 = _erase_leaf(connection, "person", number, reason)
    people, held = t.people, t.credentials
    connection.execute(sa.update(people).where(people.c.id == number).values(name=alias, folded=f"\n{number}"))
    connection.execute(sa.update(held).where(held.c.person_id == number, held.c.pin != "").values(pin=""))
    entry = Erased(what=f"the name of person {number}", sha256=sha256, reason=reason)
    return add_event(connection, None, entry, by, at, role)


def erase_job(
    connection: sa.Connection, number: str, reason: str, by: str, at: datetime, role: str = ""
) -> LoggedEvent:
    """Take title, part and customer reference of a job out of the log."""
    row, j = job_id_of(connection, number), t.jobs
    sha256 = _erase_leaf(connection, "job", row, reason)
    gone = {"title": "erased", "part": "", "customer_reference": ""}
    says = sa.or_(*(j.c[name] != text for name, text in gone.items()))
    connection.execute(sa.update(j).where(j.c.id == row, says).values(gone))
    entry = Erased(what="title, part and customer of the job", sha256=sha256, reason=reason)
    return add_event(connection, number, entry, by, at, role)


def erase_event(
    connection: sa.Connection, number: int, reason: str, by: str, at: datetime, role: str = ""
) -> LoggedEvent:
    """Take the text of an entry out of the log; steps, seals and erasures stay."""
    e = t.events
    query = sa.select(e.c.kind, e.c.body, t.jobs.c.number.label("job")).select_from(e.outerjoin(t.jobs))
    found = connection.execute(query.where(e.c.id == number)).first() if 0 < number < 2**63 else None
    if found is None or found.body is None:
        raise UnknownRecord(
            "no such entry in this log, or erased already",
            "Look at the job's entries",
            f"entry {number}",
            command="prepcheck job show",
        )
    if found.kind in KEPT:
        raise WrongUse(
            "the job's steps rest on this entry; it cannot be erased", "Erase a person or a photo", str(number)
        )
    sha256 = _erase_leaf(connection, "event", number, reason)
    connection.execute(sa.update(e).where(e.c.id == number).values(body=None))
    return add_event(connection, found.job, Erased(what=f"entry {number}", sha256=sha256, reason=reason), by, at, role)


KEPT = ("work_chosen", "step_done", "step_released", "step_reopened", "sealed", "erased")
"""Kinds of entries that cannot be erased; the database holds to the same list (migration v0003)."""


def tell_photo_erased(
    connection: sa.Connection, sha256: str, reason: str, by: str, at: datetime, role: str = ""
) -> list[LoggedEvent]:
    """Log in each job with this photo that it was erased, unless that was logged before."""
    i = t.inspections
    jobs = connection.scalars(
        sa.select(t.jobs.c.number)
        .distinct()
        .select_from(t.inspection_photos.join(i).join(t.passes).join(t.spots).join(t.jobs))
        .where(t.inspection_photos.c.photo_sha256 == sha256)
        .order_by(t.jobs.c.number)
    ).all()
    if not jobs:
        raise UnknownRecord(
            "no such photo in this log", "Look at the job's photos", sha256, command="prepcheck job show --json"
        )
    entry = Erased(what="photo", sha256=sha256, reason=reason)
    known = erased_photos(connection)
    return [add_event(connection, job, entry, by, at, role) for job in jobs if (job, sha256) not in known]


def erased_photos(connection: sa.Connection) -> set[tuple[str, str]]:
    """Return job and SHA-256 of the photos that were erased."""
    e = t.events
    rows = connection.execute(
        sa.select(t.jobs.c.number, e.c.body).select_from(e.join(t.jobs)).where(e.c.kind == "erased")
    )
    told = ((row.number, Erased.model_validate_json(row.body)) for row in rows)
    return {(job, entry.sha256) for job, entry in told if entry.what == "photo"}


def _erase_leaf(connection: sa.Connection, kind: str, row: int, reason: str) -> str:
    """Take the text of a leaf away and return its hash."""
    mine = sa.and_(t.leaves.c.kind == kind, t.leaves.c.row == row)
    leaf = connection.execute(sa.select(t.leaves.c.text, t.leaves.c.hash).where(mine)).one()
    if leaf.text is None:
        raise UnknownRecord(
            "was erased already", "Look at the job's entries", f"{kind} {row}", command="prepcheck job show"
        )
    connection.execute(sa.update(t.leaves).where(mine).values(text=None, salt="", erased=reason))
    return str(leaf.hash)
