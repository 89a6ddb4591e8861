"""Triggers that keep a table append-only, on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections.abc import Sequence

from alembic import op

_REFUSE = """
CREATE OR REPLACE FUNCTION prepcheck_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'the log is append-only: %', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation';
END
$$
"""


def on_server() -> bool:
    """Say whether the log being migrated lies on a PostgreSQL server."""
    return op.get_bind().dialect.name == "postgresql"


def forbid_changes(table: str) -> None:
    """Make the database abort every UPDATE and DELETE on `table`, and TRUNCATE where there is one."""
    _abort(table, "UPDATE")
    _abort_removing(table)


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
    equals = "IS NOT DISTINCT FROM" if on_server() else "IS"
    unchanged = " AND ".join(f"NEW.{column} {equals} OLD.{column}" for column in same)
    allowed = f"coalesce({unchanged} AND {erased}, false)" if on_server() else f"ifnull({unchanged} AND {erased}, 0)"
    _abort(table, "UPDATE", f"NOT {allowed}")
    _abort_removing(table)


def allow_changes(table: str) -> None:
    """Take away what `forbid_changes` made, so that another rule can be set in the same migration."""
    for what in ("update", "delete", *(["truncate"] if on_server() else [])):
        op.execute(f"DROP TRIGGER {table}_no_{what}" + (f" ON {table}" if on_server() else ""))


def _abort_removing(table: str) -> None:
    _abort(table, "DELETE")
    if on_server():
        op.execute(
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION prepcheck_append_only()"
        )


def _abort(table: str, what: str, when: str = "") -> None:
    trigger = f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table} "
    if on_server():
        op.execute(_REFUSE)
        condition = f"WHEN ({when}) " if when else ""
        op.execute(f"{trigger}FOR EACH ROW {condition}EXECUTE FUNCTION prepcheck_append_only()")
    else:
        condition = f"WHEN {when} " if when else ""
        op.execute(f"{trigger}{condition}BEGIN SELECT RAISE(ABORT, 'the log is append-only: {table}'); END")
