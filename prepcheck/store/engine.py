"""The SQLite engine: durable, checked, and safe with several writers at once."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.pool import NullPool

from prepcheck.settings import StoreSettings

SAFE_WAL = (3, 51, 3)
"""First SQLite whose write-ahead log cannot be damaged by a reset at the wrong moment (sqlite.org/wal.html)."""


def journal_mode(version: tuple[int, ...]) -> str:
    """Return the journal mode for a version of SQLite: a write-ahead log only where that is safe."""
    return "wal" if version >= SAFE_WAL else "delete"


def make_engine(path: Path, settings: StoreSettings) -> sa.Engine:
    """Return an engine for the file `path`; it opens a connection for each transaction and keeps none.

    Writers take the lock when they begin (BEGIN IMMEDIATE), so that what they read stays true until they commit; a
    connection with the execution option ``reading`` takes none.
    """
    engine = sa.create_engine(
        sa.URL.create("sqlite+pysqlite", database=str(path)),
        poolclass=NullPool,
        connect_args={"timeout": settings.busy_seconds},
    )
    event.listen(engine, "connect", _on_connect)
    event.listen(engine, "begin", _on_begin)
    return engine


def _on_connect(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # transactions are ours, not the driver's
    wanted = journal_mode(sqlite3.sqlite_version_info)
    (found,) = connection.execute("PRAGMA journal_mode").fetchone()
    if found != wanted:
        connection.execute(f"PRAGMA journal_mode = {wanted}")
    # EXTRA is FULL that also syncs the folder after a rollback journal is gone
    connection.execute(f"PRAGMA synchronous = {'FULL' if wanted == 'wal' else 'EXTRA'}")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA secure_delete = ON")  # what was erased is overwritten, not only let go
    connection.execute("PRAGMA recursive_triggers = ON")  # so that INSERT OR REPLACE is stopped as a DELETE


def _on_begin(connection: sa.Connection) -> None:
    reading = connection.get_execution_options().get("reading", False)
    connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")
