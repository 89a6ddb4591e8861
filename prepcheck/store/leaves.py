"""The leaves of the tree over the whole log: one for each thing that was added. Importing this loads SQLAlchemy.

A leaf is small: it names what was added by number and by hash. People stand in it by number; the name of a person is only
in the leaf of the person's own entry, so that it can be erased. Texts of leaves are hashed for good and the migration that
brought the tree runs this module too: name columns one by one, and never change what a kind of leaf says; make a new kind.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Callable
from typing import Any, NamedTuple

import rfc8785
import sqlalchemy as sa

from prepcheck.merkle import leaf_hash, root
from prepcheck.store import tables as t
from prepcheck.store.insert import insert
from prepcheck.store.rows import Leaf, TreeHead

SALT_BYTES = 16
"""So that what was erased cannot be found again by hashing guesses."""


class _Told(NamedTuple):
    job_id: int | None
    text: dict[str, Any]


BLOCK = 1024
"""Leaves in a block. A power of two, so that the root over a whole block is a node of the tree (RFC 6962, section 2.1)."""


def add_leaf(connection: sa.Connection, kind: str, row: int) -> None:
    """Add the leaf of row `row` of what `kind` names; the row is there already, in the same transaction."""
    if put_leaf(connection, kind, row) % BLOCK == 0:
        add_block(connection)


def add_block(connection: sa.Connection) -> None:
    """Add the root over the first whole block of leaves that has none yet."""
    done = connection.scalar(sa.select(sa.func.count()).select_from(t.tree_blocks)) or 0
    hashes = _hashes(connection, done * BLOCK, (done + 1) * BLOCK)
    insert(connection, t.tree_blocks, hash=root(hashes).hex())


def put_leaf(connection: sa.Connection, kind: str, row: int) -> int:
    """Add a leaf without a look at blocks, and return its number, from 1."""
    told = _TELLERS[kind](connection, row)
    nth = _next_of(connection, told.job_id)
    text = canonical({"kind": kind, "number": row, "nth": nth, **told.text})
    salt = secrets.token_bytes(SALT_BYTES)
    place = {"job_id": told.job_id, "nth": nth, "kind": kind, "row": row}
    hashed = leaf_hash(salt + text.encode()).hex()
    return insert(connection, t.leaves, **place, salt=salt.hex(), text=text, hash=hashed, erased="")


def canonical(thing: Any) -> str:
    """Return `thing` as canonical JSON (RFC 8785)."""
    return rfc8785.dumps(thing).decode()


def read_leaves(connection: sa.Connection, job: str | None = None, *, told_of: str | None = None) -> list[Leaf]:
    """Return the leaves in order, all of them or those of a job; with `told_of`, other jobs' without salt and text."""
    c = t.leaves.c
    whole = sa.true() if told_of is None else sa.or_(c.job_id.is_(None), t.jobs.c.number == told_of)
    query = sa.select(
        (c.id - 1).label("index"),
        sa.func.coalesce(t.jobs.c.number, "").label("job"),
        c.nth,
        sa.case((whole, c.salt), else_=""),
        sa.case((whole, c.text)),
        c.hash,
        c.erased,
    ).select_from(t.leaves.outerjoin(t.jobs))
    if job is not None:
        query = query.where(t.jobs.c.number == job)
    return [Leaf(*row) for row in connection.execute(query.order_by(c.id))]


def tree_head(connection: sa.Connection, size: int | None = None) -> TreeHead:
    """Return the head of the tree over the first `size` leaves, over all of them by default.

    What whole blocks hash to is taken as it was when they were closed; a seal hashes all leaves anew and compares.
    """
    b = t.tree_blocks.c
    query = sa.select(b.hash).order_by(b.id).limit(None if size is None else size // BLOCK)
    blocks = [bytes.fromhex(found) for found in connection.scalars(query)]
    rest = _hashes(connection, len(blocks) * BLOCK, size)
    return TreeHead(len(blocks) * BLOCK + len(rest), root([*blocks, *([root(rest)] if rest else [])]).hex())


def _hashes(connection: sa.Connection, after: int, last: int | None) -> list[bytes]:
    """Return the hashes of the leaves after number `after`, up to number `last`."""
    c = t.leaves.c
    query = sa.select(c.hash).where(c.id > after).order_by(c.id)
    found = connection.scalars(query if last is None else query.where(c.id <= last))
    return [bytes.fromhex(one) for one in found]


def of_job(table: sa.Table, job_id: int | None) -> sa.ColumnElement[bool]:
    """Return the condition that a row belongs to a job, or to the log as a whole when that is None."""
    return table.c.job_id.is_(None) if job_id is None else table.c.job_id == job_id


def _next_of(connection: sa.Connection, job_id: int | None) -> int:
    last = sa.select(sa.func.max(t.leaves.c.nth)).where(of_job(t.leaves, job_id))
    return (connection.scalar(last) or 0) + 1


def _person(connection: sa.Connection, row: int) -> _Told:
    name = connection.scalar(sa.select(t.people.c.name).where(t.people.c.id == row))
    return _Told(None, {"name": name})


def _job(connection: sa.Connection, row: int) -> _Told:
    c = t.jobs.c
    columns = [c.title, c.part, c.alloy, c.wall_mm, c.previous_contents, c.customer_reference]
    when = [c.opened_at.label("at"), c.opened_by.label("person"), c.number.label("job")]
    return _Told(row, _row(connection, sa.select(*columns, *when).where(c.id == row)))


def _inspection(connection: sa.Connection, row: int) -> _Told:
    i = t.inspections
    found = _row(
        connection,
        sa.select(
            *(i.c[name] for name in ("at", "outline", "note", "flags", "corrects")),
            i.c.person_id.label("person"),
            t.jobs.c.id.label("job_id"),
            t.jobs.c.number.label("job"),
            t.spots.c.number.label("spot"),
            t.spots.c.name.label("spot_name"),
            t.passes.c.pass_no.label("pass"),
            t.results.c.record,
            t.results.c.inputs_sha256,
            t.comparisons.c.told.label("since"),
        )
        .select_from(i.join(t.passes).join(t.spots).join(t.jobs).join(t.results))
        .join(t.comparisons, t.comparisons.c.inspection_id == i.c.id, isouter=True)
        .where(i.c.id == row),
    )
    since, record = found.pop("since"), found.pop("record")
    hashes = {
        "photos": _photos(connection, row),
        "record_sha256": _sha256(canonical(json.loads(record))),
        "since_sha256": None if since is None else _sha256(canonical(json.loads(since))),
    }
    return _Told(found.pop("job_id"), {**found, "flags": json.loads(found["flags"]), **hashes})


def _photos(connection: sa.Connection, inspection: int) -> list[str]:
    p = t.inspection_photos.c
    query = sa.select(p.photo_sha256).where(p.inspection_id == inspection).order_by(p.position)
    return list(connection.scalars(query))


def _disagreement(connection: sa.Connection, row: int) -> _Told:
    d = t.disagreements
    found = _row(
        connection,
        sa.select(
            *(d.c[name] for name in ("standing", "reason", "at")),
            d.c.inspection_id.label("inspection"),
            d.c.person_id.label("person"),
            t.jobs.c.id.label("job_id"),
            t.jobs.c.number.label("job"),
        )
        .select_from(
            d.join(t.inspections, t.inspections.c.id == d.c.inspection_id).join(t.passes).join(t.spots).join(t.jobs)
        )
        .where(d.c.id == row),
    )
    return _Told(found.pop("job_id"), found)


def _event(connection: sa.Connection, row: int) -> _Told:
    e = t.events
    found = _row(
        connection,
        sa.select(
            e.c.at,
            e.c.role,
            e.c.person_id.label("person"),
            e.c.job_id,
            sa.func.coalesce(t.jobs.c.number, "").label("job"),
            e.c.body.label("entry"),
        )
        .select_from(e.outerjoin(t.jobs))
        .where(e.c.id == row),
    )
    return _Told(found.pop("job_id"), {**found, "entry": json.loads(found["entry"])})


def _credential(connection: sa.Connection, row: int) -> _Told:
    c = t.credentials.c
    columns = [c.role, c.at, c.person_id.label("person"), c.set_by.label("by"), (c.pin != "").label("has_pin")]
    return _Told(None, _row(connection, sa.select(*columns).where(c.id == row)))


def _row(connection: sa.Connection, query: sa.Select[Any]) -> dict[str, Any]:
    return dict(connection.execute(query).mappings().one())


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


_TELLERS: dict[str, Callable[[sa.Connection, int], _Told]] = {
    "person": _person,
    "job": _job,
    "inspection": _inspection,
    "disagreement": _disagreement,
    "event": _event,
    "credential": _credential,
}
"""What each kind of leaf says; `number` and `row` are the key in that kind's own table."""
