"""The database of a log: a SQLite file in its folder, or a PostgreSQL database. Importing this loads SQLAlchemy."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import sqlalchemy as sa

from prepcheck.errors import StoreFault, UnknownRecord
from prepcheck.settings import StoreSettings
from prepcheck.store import engine as sqlite
from prepcheck.store import migrate, server
from prepcheck.store.address import LOG_FILE, StoreAddress
from prepcheck.store.faults import faults, os_fault, readable

_NONE_YET = ("holds no log yet", "Open a job first, or check the path")


class Database(Protocol):
    """What a log needs of its database."""

    @property
    def name(self) -> str:
        """The database as it may be shown."""

    @property
    def engine(self) -> sa.Engine:
        """Opens connections."""

    def reading(self) -> AbstractContextManager[sa.Connection]:
        """Open a transaction that only reads, and sees one moment."""

    def writing(self) -> AbstractContextManager[sa.Connection]:
        """Open a transaction that keeps other writers out; an error takes all of it back."""


def open_database(address: StoreAddress, settings: StoreSettings, *, create: bool) -> Database:
    """Return the database at an address, made if it is not there and `create` is set, brought up to date if it is older.

    Raises
    ------
    UnknownRecord
        There is no log and `create` is off.
    StoreFault
        It cannot be opened.
    """
    database = _on_server(address, settings) if address.database else _in_folder(address.folder, settings, create)
    with database.reading() as connection:
        current = migrate.is_current(connection, database.name)
        missing = not current and bool(address.database) and not migrate.is_log(connection)
    if missing and not create:
        raise UnknownRecord(*_NONE_YET, database.name, command="prepcheck job new, --store")
    if create:
        _make_folder(address.folder)
    if not current:
        with database.writing() as connection:
            migrate.upgrade(connection)
    return database


@dataclass(frozen=True)
class _File:
    """A SQLite file."""

    path: Path
    engine: sa.Engine

    @property
    def name(self) -> str:
        return str(self.path)

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        options = self.engine.execution_options(reading=True)
        with readable(self.path), faults(self.path), options.begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        with faults(self.path), self.engine.begin() as connection:
            yield connection


@dataclass(frozen=True)
class _Server:
    """A database on a PostgreSQL server."""

    name: str
    engine: sa.Engine

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        options = self.engine.execution_options(**server.READING)
        with readable(self.name), self._faults() as _, options.begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        with self._faults() as moment, self.engine.begin() as connection:
            yield connection
            moment.committing = True

    @contextmanager
    def _faults(self) -> Iterator[_Moment]:
        moment = _Moment()
        try:
            yield moment
        except sa.exc.DBAPIError as error:
            raise server.server_fault(error.orig, self.name, at_commit=moment.committing) from error
        except OSError as error:
            raise os_fault(error, self.name) from error


@dataclass
class _Moment:
    committing: bool = False


def _in_folder(folder: Path, settings: StoreSettings, create: bool) -> _File:
    path = folder / LOG_FILE
    with faults(path):
        _find_or_make(path, create)
    return _File(path, sqlite.make_engine(path, settings))


def _on_server(address: StoreAddress, settings: StoreSettings) -> _Server:
    return _Server(address.name, server.make_engine(address.database, settings))


def _make_folder(folder: Path) -> None:
    with faults(folder):
        folder.mkdir(parents=True, exist_ok=True)


def _find_or_make(path: Path, create: bool) -> None:
    if path.is_file():
        return
    if path.exists():
        raise StoreFault("is no file", "Check the path", str(path), command="--store")
    if not create:
        raise UnknownRecord(*_NONE_YET, str(path.parent), command="prepcheck job new, --store")
    path.parent.mkdir(parents=True, exist_ok=True)
