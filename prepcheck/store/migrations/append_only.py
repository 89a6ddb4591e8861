"""Triggers that keep a table append-only."""

from __future__ import annotations

from collections.abc import Sequence

from alembic import op


def forbid_changes(table: str) -> None:
    """Make the database abort every UPDATE and DELETE on `table` (SQLite only so far)."""
    for what in ("UPDATE", "DELETE"):
        _abort(table, what)


def forbid_changes_but(table: str, *, same: Sequence[str], erased: str) -> None:
    """Make the database abort every DELETE on `table`, and every UPDATE but one that erases.

    Parameters
    ----------
    table : str
        Without triggers so far.
    same : sequence of str
        Columns that stay as they are.
    erased : str
        Condition in SQL on the other columns, OLD and NEW.
    """
    unchanged = " AND ".join(f"NEW.{column} IS OLD.{column}" for column in same)
    _abort(table, "UPDATE", f"WHEN NOT ifnull({unchanged} AND {erased}, 0) ")
    _abort(table, "DELETE")


def _abort(table: str, what: str, when: str = "") -> None:
    if op.get_bind().dialect.name != "sqlite":
        raise NotImplementedError("append-only triggers are written for SQLite only")
    op.execute(
        f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table} "
        f"{when}BEGIN SELECT RAISE(ABORT, 'the log is append-only: {table}'); END"
    )
