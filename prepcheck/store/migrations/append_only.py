"""Triggers that keep a table append-only."""

from __future__ import annotations

from alembic import op


def forbid_changes(table: str) -> None:
    """Make the database abort every UPDATE and DELETE on `table` (SQLite only so far)."""
    if op.get_bind().dialect.name != "sqlite":
        raise NotImplementedError("append-only triggers are written for SQLite only")
    for what in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, 'the log is append-only: {table}'); END"
        )
