"""Entries of people about a job, and people with their roles and PINs, in the log. Importing this loads SQLAlchemy."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from pydantic import TypeAdapter

from prepcheck.errors import StoreFault, UnknownRecord
from prepcheck.store import tables as t
from prepcheck.store.append import job_id_of, person_of
from prepcheck.store.insert import insert
from prepcheck.store.leaves import add_leaf, canonical, of_job, tree_head
from prepcheck.store.rows import LoggedEvent, Person, PinCheck, Seal, TreeHead
from prepcheck.store.words import folded, stamp
from prepcheck.trade.entries import AnyEntry, Sealed

_ENTRY: TypeAdapter[AnyEntry] = TypeAdapter(AnyEntry)


def add_event(
    connection: sa.Connection, number: str | None, entry: AnyEntry, person: str, at: datetime, role: str = ""
) -> LoggedEvent:
    """Log an entry about a job, or about the log as a whole when `number` is None."""
    job_id = None if number is None else job_id_of(connection, number)
    person_id, name = person_of(connection, person)
    row = {"job_id": job_id, "person_id": person_id, "role": role, "kind": entry.kind, "at": stamp(at)}
    event = insert(connection, t.events, **row, body=canonical(entry.model_dump(mode="json")))
    add_leaf(connection, "event", event)
    return LoggedEvent(event, stamp(at), name, role, entry)


def read_events(connection: sa.Connection, number: str | None, kind: str | None = None) -> tuple[LoggedEvent, ...]:
    """Return the entries about a job, or about the log as a whole, in the order in which they were logged.

    Only those of a `kind` where one is named, erased ones too.
    """
    job_id = None if number is None else job_id_of(connection, number)
    asked = _events().where(of_job(t.events, job_id))
    rows = connection.execute(asked if kind is None else asked.where(t.events.c.kind == kind))
    return tuple(
        LoggedEvent(row.id, _at(row.at), row.person, row.role, _entry(row.body), "" if row.body else row.kind)
        for row in rows
    )


def read_seals(connection: sa.Connection) -> list[Seal]:
    """Return the seals of all jobs, oldest first."""
    rows = connection.execute(_events().where(t.events.c.kind == "sealed"))
    return [Seal(row.id, row.job, row.at, row.person, Sealed.model_validate_json(row.body)) for row in rows]


def check_head(connection: sa.Connection, sealed: Sealed) -> None:
    """Raise `StoreFault` when the log's first entries do not have the root that is to be sealed."""
    if tree_head(connection, sealed.size) != TreeHead(sealed.size, sealed.root):
        raise StoreFault("this is no head of this log; nothing was logged", "Seal again", sealed.root)


def read_people(connection: sa.Connection) -> list[Person]:
    """Return all people who were not erased, in the order in which they were first named."""
    newest = sa.select(sa.func.max(t.credentials.c.id)).group_by(t.credentials.c.person_id)
    c, p = t.credentials.c, t.people.c
    held = sa.select(c.person_id, c.role, (c.pin != "").label("has_pin")).where(c.id.in_(newest)).subquery()
    rows = connection.execute(
        sa.select(p.id, p.name, held.c.role, held.c.has_pin)
        .select_from(t.people.outerjoin(held, held.c.person_id == p.id))
        .where(p.folded.not_like("\n%"))
        .order_by(p.id)
    )
    return [Person(row.id, row.name, row.role or "", bool(row.has_pin)) for row in rows]


def find_person(connection: sa.Connection, name: str) -> Person:
    """Return a person by name; an unknown one is an `UnknownRecord`."""
    row = connection.scalar(sa.select(t.people.c.id).where(t.people.c.folded == folded(name)))
    found = next((person for person in read_people(connection) if person.number == row), None)
    if found is None:
        raise UnknownRecord(
            "no such person in this log", "Choose one of the people of this log", name, command="prepcheck person list"
        )
    return found


def set_credentials(connection: sa.Connection, name: str, role: str, pin: str, by: str, at: datetime) -> Person:
    """Give a person a role and the hash of a PIN (both may be empty); the person is added on first use."""
    person_id, name = person_of(connection, name)
    setter, _ = person_of(connection, by)
    row = {"person_id": person_id, "role": role, "pin": pin, "at": stamp(at), "set_by": setter}
    add_leaf(connection, "credential", insert(connection, t.credentials, **row))
    return Person(person_id, name, role, pin != "")


def try_pin(connection: sa.Connection, name: str, at: datetime, check: Callable[[PinCheck], bool]) -> Person | None:
    """Log whether `check` finds the PIN of a person right, and return the person if so.

    What `check` raises is raised, and nothing is logged.
    """
    person = find_person(connection, name)
    c = t.credentials.c
    newest = sa.select(c.pin).where(c.person_id == person.number).order_by(c.id.desc()).limit(1)
    right = check(PinCheck(person, connection.scalar(newest) or "", *_wrong_in_a_row(connection, person.number)))
    insert(connection, t.pin_attempts, person_id=person.number, at=stamp(at), right=int(right))
    return person if right else None


def _wrong_in_a_row(connection: sa.Connection, person: int) -> tuple[int, str | None]:
    a = t.pin_attempts.c
    rows = connection.execute(sa.select(a.right, a.at).where(a.person_id == person).order_by(a.id.desc())).all()
    count = next((n for n, row in enumerate(rows) if row.right), len(rows))
    return count, rows[0].at if count else None


def _events() -> sa.Select[Any]:
    e = t.events
    return (
        sa.select(
            *(e.c[name] for name in ("id", "at", "role", "kind", "body")),
            t.people.c.name.label("person"),
            t.jobs.c.number.label("job"),
        )
        .select_from(e.join(t.people).outerjoin(t.jobs, t.jobs.c.id == e.c.job_id))
        .order_by(e.c.id)
    )


def _at(text: str) -> str:
    if datetime.fromisoformat(text).tzinfo is None:
        raise ValueError(f"a time without offset: {text}")
    return text


def _entry(body: str | None) -> AnyEntry | None:
    return None if body is None else _ENTRY.validate_json(body)
