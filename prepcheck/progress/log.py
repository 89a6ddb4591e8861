"""Reads from the log what people's work over time is told from. Importing this loads SQLAlchemy."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from prepcheck.errors import UnknownRecord
from prepcheck.progress.kept import Item, Kept, Kind
from prepcheck.progress.reused import LoggedPhoto
from prepcheck.progress.shots import Opinion, Shot, credited
from prepcheck.store import tables as t
from prepcheck.store.store import Store
from prepcheck.store.words import clean, folded
from prepcheck.terms import Standing

ERASED = "\n"
"""How the folded name of an erased person begins."""


@dataclass(frozen=True)
class PersonLine:
    """A person in the list: what was logged in their name, and from when to when; times are None without any."""

    number: int
    name: str
    erased: bool
    inspections: int
    jobs: int
    first: datetime | None
    last: datetime | None


@dataclass(frozen=True)
class WorkOf:
    """What was logged in the jobs that a person logged photos in.

    `shots` are all that count there, also of others; `opinions` are the person's own standings beside the tool's.
    """

    number: int
    name: str
    shots: tuple[Shot, ...]
    opinions: tuple[Opinion, ...]


def list_work(store: Store) -> list[PersonLine]:
    """Return everybody in the log, erased ones too, in the order in which they were first named."""
    i, p, lines = t.inspections, t.people, t.person_lines
    counted = (
        sa.select(
            lines.c.person_id, sa.func.sum(lines.c.inspections).label("inspections"), sa.func.count().label("jobs"),
            sa.func.min(lines.c.first_id).label("first"), sa.func.max(lines.c.last_id).label("last"),
        )
        .group_by(lines.c.person_id)
        .subquery()
    )  # fmt: skip
    told = (counted.c[name] for name in ("inspections", "jobs", "first", "last"))
    query = (
        sa.select(p.c.id, p.c.name, p.c.folded, *told)
        .select_from(p.outerjoin(counted, counted.c.person_id == p.c.id))
        .order_by(p.c.id)
    )
    with store.reading() as connection:
        rows = connection.execute(query).all()
        ends = {number for row in rows for number in (row.first, row.last) if number is not None}
        rows_at = connection.execute(sa.select(i.c.id, i.c.at).where(i.c.id.in_(ends)))
        times = {row.id: row.at for row in rows_at}
    return [_line(row, times) for row in rows]


def find(store: Store, name: str) -> tuple[int, str]:
    """Return number and name, as first spelt, of a person who was not erased.

    Raises
    ------
    UnknownRecord
        There is no such person, or the name was erased: what an erased person did is told of no one.
    """
    given = clean(name, "the person's name")
    query = sa.select(t.people.c.id, t.people.c.name).where(t.people.c.folded == folded(given))
    with store.reading() as connection:
        row = connection.execute(query).first()
    if row is None:
        raise UnknownRecord("no such person in this log, or erased", "See prepcheck people list", given)
    return row.id, row.name


def work_of(store: Store, name: str) -> WorkOf:
    """Return what was logged in the jobs that a person logged photos in; `UnknownRecord` without such a person."""
    number, spelt = find(store, name)
    of_person = sa.select(t.person_lines.c.job_id).where(t.person_lines.c.person_id == number)
    d = t.disagreements
    told = sa.select(d.c.inspection_id, d.c.standing, d.c.reason).where(d.c.person_id == number).order_by(d.c.id)
    in_jobs = sa.select(t.jobs.c.id, t.jobs.c.number, t.jobs.c.title).where(t.jobs.c.id.in_(of_person))
    with store.reading() as connection:
        jobs = {row.id: (row.number, row.title) for row in connection.execute(in_jobs)}
        names = {row.id: row.name for row in connection.execute(sa.select(t.people.c.id, t.people.c.name))}
        rows = connection.execute(_shots().where(t.spots.c.job_id.in_(of_person)))
        shots = [_shot(row, jobs, names) for row in rows]
        opinions = [Opinion(row.inspection_id, Standing(row.standing), row.reason) for row in connection.execute(told)]
    return WorkOf(number, spelt, credited(shots), tuple(opinions))


def logged_photos(store: Store) -> list[LoggedPhoto]:
    """Return every photo at each place where it was logged, in order."""
    i, shown, p = t.inspections, t.inspection_photos, t.photos
    query = _placed(
        sa.select(
            i.c.id, t.jobs.c.number.label("job"), t.spots.c.number.label("spot"), t.passes.c.pass_no,
            t.people.c.name.label("person"), i.c.at, i.c.outline, i.c.corrects, shown.c.photo_sha256, shown.c.name,
            p.c.picture_hash, p.c.taken,
        ),
        photos=True,
    ).order_by(i.c.id, shown.c.position)  # fmt: skip
    with store.reading() as connection:
        rows = connection.execute(query).all()
    roots: dict[int, frozenset[int]] = {}
    for row in rows:
        roots[row.id] = frozenset() if row.corrects is None else roots.get(row.corrects, frozenset()) | {row.corrects}
    return [_photo(row, roots[row.id]) for row in rows]


def _photo(row: Any, roots: frozenset[int]) -> LoggedPhoto:
    return LoggedPhoto(
        inspection=row.id,
        job=row.job,
        spot=row.spot,
        pass_no=row.pass_no,
        person=row.person,
        at=datetime.fromisoformat(row.at),
        sha256=row.photo_sha256,
        name=row.name,
        picture_hash=row.picture_hash,
        taken=row.taken,
        outline=row.outline,
        roots=roots,
    )


def kept_about(store: Store, name: str) -> Kept:
    """Return what the log keeps about a person; `UnknownRecord` without such a person.

    The PIN is kept as a hash and never given out, not even that.
    """
    number, spelt = find(store, name)
    with store.reading() as connection:
        kinds = tuple(_kind(connection, number, *one) for one in _kinds())
        role = connection.scalar(
            sa.select(t.credentials.c.role)
            .where(t.credentials.c.person_id == number)
            .order_by(t.credentials.c.id.desc())
            .limit(1)
        )
    return Kept(number, spelt, role or "", tuple(one for one in kinds if one.items))


def _kind(connection: sa.Connection, number: int, what: str, table: sa.Table, person: Any, at: Any) -> Kind:
    query = sa.select(table.c.id, at.label("at")).where(person == number).order_by(table.c.id)
    return Kind(what, tuple(Item(row.id, datetime.fromisoformat(row.at)) for row in connection.execute(query)))


def _kinds() -> list[tuple[str, sa.Table, sa.Column[Any], sa.Column[Any]]]:
    """List each kind of row that names a person: what it is, its table, person and time."""
    return [
        ("jobs opened", t.jobs, t.jobs.c.opened_by, t.jobs.c.opened_at),
        ("photos logged", t.inspections, t.inspections.c.person_id, t.inspections.c.at),
        ("own standings beside the tool's", t.disagreements, t.disagreements.c.person_id, t.disagreements.c.at),
        ("entries", t.events, t.events.c.person_id, t.events.c.at),
        ("roles and PINs received", t.credentials, t.credentials.c.person_id, t.credentials.c.at),
        ("roles and PINs given to others", t.credentials, t.credentials.c.set_by, t.credentials.c.at),
        ("PINs typed, right or wrong", t.pin_attempts, t.pin_attempts.c.person_id, t.pin_attempts.c.at),
    ]


def _placed(selected: sa.Select[Any], *, photos: bool = False) -> sa.Select[Any]:
    """Join an inspection with its place and person, and with its photos if wanted."""
    joined = t.inspections.join(t.passes).join(t.spots).join(t.jobs, t.jobs.c.id == t.spots.c.job_id)
    joined = joined.join(t.people, t.people.c.id == t.inspections.c.person_id)
    if photos:
        shown = t.inspection_photos
        joined = joined.join(shown, shown.c.inspection_id == t.inspections.c.id)
        joined = joined.join(t.photos, t.photos.c.sha256 == shown.c.photo_sha256)
    return selected.select_from(joined)


def _shots() -> sa.Select[Any]:
    i = t.inspections
    tied = sa.and_(t.outlines.c.inspection_id == i.c.id, t.outlines.c.spot_id.is_not(None))
    joined = i.join(t.passes).join(t.spots)
    of_photo = sa.select(t.results.c.standing).where(t.results.c.id == i.c.result_id).scalar_subquery()
    return (
        sa.select(
            i.c.id, t.spots.c.job_id, t.spots.c.number, t.spots.c.name, t.passes.c.pass_no, i.c.person_id, i.c.at,
            sa.func.coalesce(t.outlines.c.standing, of_photo), i.c.outline, i.c.corrects,
        )
        .select_from(joined.outerjoin(t.outlines, tied))
        .order_by(i.c.id)
    )  # fmt: skip


def _shot(row: Any, jobs: Mapping[int, tuple[str, str]], names: Mapping[int, str]) -> Shot:
    number, job, spot, spot_name, pass_no, person, at, standing, outline, corrects = row
    return Shot(
        number, *jobs[job], spot, spot_name, pass_no, names[person], datetime.fromisoformat(at), _STANDINGS[standing],
        outline, corrects,
    )  # fmt: skip


_STANDINGS = {one.value: one for one in Standing}


def _line(row: Any, times: dict[int, str]) -> PersonLine:
    first, last = (None if end is None else datetime.fromisoformat(times[end]) for end in (row.first, row.last))
    return PersonLine(row.id, row.name, row.folded.startswith(ERASED), row.inspections or 0, row.jobs or 0, first, last)
