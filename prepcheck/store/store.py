"""The open log: each method is one transaction. Importing this loads SQLAlchemy."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from prepcheck.errors import StoreFault, UnknownRecord
from prepcheck.record import Record
from prepcheck.settings import StoreSettings
from prepcheck.store import append, migrate, passes, read
from prepcheck.store.engine import make_engine
from prepcheck.store.faults import faults
from prepcheck.store.rows import Disagreement, EarlierInspection, Entry, Job, JobLine, Logged, NewJob, Story


class Store:
    """A log in a file. It holds no connection between two calls and need not be closed.

    Parameters
    ----------
    path : Path
        The database file.
    settings : StoreSettings
        How long to wait for others, and which pictures look the same.
    create : bool
        Whether to make a log that is not there.
    """

    def __init__(self, path: Path, settings: StoreSettings, *, create: bool = True) -> None:
        self.path = path
        self._settings = settings
        with faults(path):
            _find_or_make(path, create)
        self._engine = make_engine(path, settings)
        with self.reading() as connection:
            current = migrate.is_current(connection, path)
        if not current:
            with self.writing() as connection:
                migrate.upgrade(connection)

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

    def open_job(self, new: NewJob, person: str, at: datetime) -> Job:
        """Add a job under the next free number."""
        with self.writing() as connection:
            return append.add_job(connection, new, person, at)

    def log(self, entry: Entry) -> Logged:
        """Add an inspection with all its rows."""
        with self.writing() as connection:
            return append.add_inspection(connection, entry, self._settings.near_duplicate_bits)

    def disagree(self, told: Disagreement) -> Disagreement:
        """Add a person's own standing beside the tool's answer."""
        with self.writing() as connection:
            return append.add_disagreement(connection, told)

    def check_job(self, number: str) -> None:
        """Raise `UnknownRecord` when there is no such job."""
        with self.reading() as connection:
            append.job_id_of(connection, number)

    def jobs(self) -> list[JobLine]:
        """Return all jobs, newest first."""
        with self.reading() as connection:
            return read.list_jobs(connection)

    def story(self, number: str) -> Story:
        """Return everything logged in a job."""
        with self.reading() as connection:
            return read.story(connection, number)

    def earlier_passes(self, job: str, spot: str, pass_no: int, *, unfit: bool = False) -> list[EarlierInspection]:
        """Return the newest inspection of each pass before `pass_no` of a job's spot, oldest first, fit ones first."""
        with self.reading() as connection:
            return passes.earlier_passes(connection, job, spot, pass_no, unfit=unfit)

    def cached(self, **key: str) -> Record | None:
        """Return the newest answer with exactly this origin, or None."""
        with self.reading() as connection:
            return read.cached_record(connection, **key)


def _find_or_make(path: Path, create: bool) -> None:
    if path.is_file():
        return
    if path.exists():
        raise StoreFault("is no file", "Check the path given with --store", str(path))
    if not create:
        raise UnknownRecord("holds no log yet", "Open a job with prepcheck job new, or check --store", str(path.parent))
    path.parent.mkdir(parents=True, exist_ok=True)
