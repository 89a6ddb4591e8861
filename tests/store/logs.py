"""Where the tests keep their logs: each in a file of its folder, or each in a database of one PostgreSQL server.

``PREPCHECK_TEST_STORE=postgresql pytest ...`` runs the very same tests on a server that the run starts itself: every
folder that a test takes for a store then has its log in a database named after the folder, in child processes too
(``child/sitecustomize.py``). What is about SQLite's file itself asks for the fixture ``sqlite_only``.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import count
from pathlib import Path
from typing import Any

import psycopg

from prepcheck.store import LOG_FILE, StoreAddress
from prepcheck.store.store import Store
from prepcheck.store.tables import metadata

SWITCH = "PREPCHECK_TEST_STORE"
SERVER = "PREPCHECK_TEST_SERVER"
"""Environment variable with the address of the server, for child processes."""
ROOT = Path(__file__).parents[2]
_copies = count(1)
_in_file = StoreAddress.__init__


def on_server() -> bool:
    """Say whether the logs of this run are on a server."""
    return SERVER in os.environ


def keep_on(server: str) -> None:
    """Keep the logs of this process, and of those that it starts, on the server at an address without database."""
    os.environ[SERVER] = server
    child = str(Path(__file__).with_name("child"))
    os.environ["PYTHONPATH"] = os.pathsep.join(
        dict.fromkeys([child, str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])])
    )

    def on_it(self: StoreAddress, folder: Path, database: str = "") -> None:
        _in_file(self, folder, database or _database_of(folder))

    StoreAddress.__init__ = on_it  # type: ignore[method-assign]


def drop_below(folder: Path) -> None:
    """Drop the databases of stores in or below a folder."""
    for (name,) in _run(
        "SELECT datname FROM places WHERE folder = %s OR starts_with(folder, %s || '/')", *[str(folder)] * 2
    ):
        _run(f"DROP DATABASE {name} WITH (FORCE)")
        _run("DELETE FROM places WHERE datname = %s", name)


class LogCopy:
    """A log as it was at one moment, to be put into other folders: made once, used by many tests."""

    def __init__(self, store: Store) -> None:
        self._kept: bytes | str
        if on_server():
            self._kept = f"kept_{os.getpid()}_{next(_copies)}"
            _run(f"CREATE DATABASE {self._kept} TEMPLATE {_name(store.folder)}")
        else:
            self._kept = (store.folder / LOG_FILE).read_bytes()

    def put(self, folder: Path) -> None:
        """Put the log into a folder that has none yet."""
        if isinstance(self._kept, bytes):
            (folder / LOG_FILE).write_bytes(self._kept)
        else:
            _make(folder, self._kept)


def copy_log(before: Path, after: Path) -> None:
    """Bring the log of a copied folder along, where it does not lie in the folder."""
    if on_server():
        _make(after, _name(before))


REFUSED = (sqlite3.IntegrityError, psycopg.IntegrityError)
"""What another program is told that breaks a rule of the log's tables."""


@contextmanager
def other_program(store: Store) -> Iterator[Any]:
    """Open the log as another program does: each statement counts at once."""
    if on_server():
        with psycopg.connect(f"{os.environ[SERVER]}/{_name(store.folder)}", autocommit=True) as server:
            yield server
        return
    file = sqlite3.connect(store.folder / LOG_FILE, isolation_level=None)
    try:
        yield file
    finally:
        file.close()


def tamper(store: Store, statement: str) -> None:
    """Change what is logged, as who may do everything with the database can."""
    with other_program(store) as other:
        if on_server():
            for (table,) in other.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall():
                other.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        else:
            for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                other.execute(f"DROP TRIGGER {name}")
        other.execute(statement)


def triggers(store: Store) -> set[str]:
    """Return the names of the triggers that keep the log append-only."""
    names = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    with other_program(store) as other:
        found = other.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal" if on_server() else names)
        return {name for (name,) in found.fetchall()}


def tables_in(folder: Path) -> list[str]:
    """Return the tables of a store that may have no log."""
    if on_server():
        with psycopg.connect(_database_of(folder)) as server:
            found = server.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
    else:
        with closing(sqlite3.connect(folder / LOG_FILE)) as file:
            found = file.execute("SELECT name FROM sqlite_master").fetchall()
    return [name for (name,) in found]


def all_bytes(store: Store) -> bytes:
    """Return what the log holds: the bytes of its file, or every row on its server."""
    if not on_server():
        return (store.folder / LOG_FILE).read_bytes()
    with other_program(store) as other:
        return "".join(str(other.execute(f"SELECT * FROM {name}").fetchall()) for name in metadata.tables).encode()


def check_database(store: Store) -> None:
    """Check that the file of a log is whole; a server looks after its own."""
    if not on_server():
        with other_program(store) as other:
            assert other.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def _database_of(folder: Path) -> str:
    name = _name(folder)
    if not _run("SELECT 1 FROM pg_database WHERE datname = %s", name):
        _make(folder, "template1")
    return f"{os.environ[SERVER]}/{name}"


def _make(folder: Path, template: str) -> None:
    name = _name(folder)
    try:
        _run(f"CREATE DATABASE {name} TEMPLATE {template}")
    except (psycopg.errors.DuplicateDatabase, psycopg.errors.UniqueViolation):
        return  # by another process, just now
    except psycopg.errors.ObjectInUse:
        return _make(folder, template)
    _run("INSERT INTO places VALUES (%s, %s) ON CONFLICT DO NOTHING", name, str(folder.resolve()))


def _name(folder: Path) -> str:
    return "of_" + hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:40]


def _run(statement: str, *values: str) -> list[tuple[str]]:
    with psycopg.connect(f"{os.environ[SERVER]}/postgres", autocommit=True) as connection:
        cursor = connection.execute(statement, values or None)  # type: ignore[arg-type]
        return cursor.fetchall() if cursor.description else []
