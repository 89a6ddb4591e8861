"""Adds a row under the next number of its table. Importing this loads SQLAlchemy."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa


def insert(connection: sa.Connection, table: sa.Table, **values: Any) -> int:
    """Add a row and return its key: one more than the last, so that no number is ever left out.

    Writers take turns (see `prepcheck.store.store.Store.writing`), so nobody can take the same number in between.
    """
    key = table.c.id
    following = sa.select(sa.func.coalesce(sa.func.max(key), 0) + 1).scalar_subquery()
    added = sa.insert(table).values({"id": following, **values}).returning(key)
    return int(connection.execute(added).scalar_one())
