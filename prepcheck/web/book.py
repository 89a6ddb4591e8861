"""The page's own book: paired phones, uploads and works, in ``page.sqlite`` beside the log.

None of it is evidence: without this file phones are paired again and photos still in their queues are sent again, and the
log is whole. Times are ISO 8601 in UTC to the microsecond, so that they sort.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy as sa

from prepcheck.errors import StoreBusy, StoreNewer
from prepcheck.settings import StoreSettings
from prepcheck.store.engine import make_engine
from prepcheck.store.faults import faults

VERSION = 1
"""Of the tables; a later one upgrades an older file where it is opened."""
BOOK_FILE = "page.sqlite"

metadata = sa.MetaData()

pairings = sa.Table(
    "pairings",
    metadata,
    sa.Column("token_sha256", sa.String, primary_key=True),
    sa.Column("expires_at", sa.String, nullable=False),
    sa.Column("used_at", sa.String),
)
sessions = sa.Table(
    "sessions",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("token_sha256", sa.String, nullable=False, unique=True),
    sa.Column("device", sa.String, nullable=False),
    sa.Column("made_at", sa.String, nullable=False),
    sa.Column("expires_at", sa.String, nullable=False),
    sa.Column("seen_at", sa.String, nullable=False),
    sa.Column("person", sa.String, nullable=False, server_default=""),
    sa.Column("signed_until", sa.String, nullable=False, server_default=""),
    sqlite_autoincrement=True,
)
uploads = sa.Table(
    "uploads",
    metadata,
    sa.Column("id", sa.String, primary_key=True),
    sa.Column("key", sa.String, nullable=False, unique=True),
    sa.Column("name", sa.String, nullable=False),
    sa.Column("bytes", sa.Integer, nullable=False),
    sa.Column("sha256", sa.String, nullable=False),
    sa.Column("synced", sa.Integer, nullable=False, server_default="0"),
    sa.Column("changed_at", sa.String, nullable=False),
    sa.Column("used_by", sa.String),
)
works = sa.Table(
    "works",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("id", sa.String, nullable=False, unique=True),
    sa.Column("key", sa.String, nullable=False, unique=True),
    sa.Column("asked", sa.String, nullable=False),
    sa.Column("person", sa.String, nullable=False),
    sa.Column("state", sa.String, nullable=False),
    sa.Column("made_at", sa.String, nullable=False),
    sa.Column("logging_at", sa.String),
    sa.Column("logging_after", sa.Integer),
    sa.Column("logging_sha256", sa.String),
    sa.Column("inspection", sa.Integer, unique=True),
    sa.Column("fault", sa.String),
    sqlite_autoincrement=True,
)


class Book:
    """The open file; it holds no connection between two calls."""

    def __init__(self, folder: Path, settings: StoreSettings) -> None:
        self.path = folder / BOOK_FILE
        self._engine = make_engine(self.path, settings)
        with self.writing() as connection:
            version = connection.exec_driver_sql("PRAGMA user_version").scalar_one()
            if version > VERSION:
                raise StoreNewer("was written by a newer prepcheck", "Use that one", str(self.path))
            if version < VERSION:
                metadata.create_all(connection)
                connection.exec_driver_sql(f"PRAGMA user_version = {VERSION}")
        self.path.chmod(0o600)

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """Open a transaction that only reads."""
        with faults(self.path), self._engine.execution_options(reading=True).begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """Open a transaction that keeps other writers out; an error takes all of it back."""
        with faults(self.path), self._engine.begin() as connection:
            yield connection


class Hold:
    """Lets one server at a time work on a store: two would both take up the works that a third left unfinished.

    It is a lock of the operating system, so that it ends with the process however that ends.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._connection: sqlite3.Connection | None = None

    def take(self) -> None:
        """Take hold, if this server has not yet; `StoreBusy` while another one has."""
        if self._connection is not None:
            return
        connection = sqlite3.connect(self._path, timeout=0, isolation_level=None, check_same_thread=False)
        try:
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            connection.close()
            raise StoreBusy(
                "is served by another prepcheck", "Use or end that one", str(self._path.parent.parent)
            ) from error
        self._connection = connection

    def release(self) -> None:
        """Let go."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None


def moment(at: datetime) -> str:
    """Return a time as the book keeps it."""
    return at.astimezone(UTC).isoformat(timespec="microseconds")
