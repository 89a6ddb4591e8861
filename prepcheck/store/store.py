"""The open log: each method is one transaction. Importing this loads SQLAlchemy."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from prepcheck.record import Record
from prepcheck.settings import StoreSettings
from prepcheck.store import append, erase, events, job_lines, leaves, passes, read
from prepcheck.store.address import StoreAddress
from prepcheck.store.database import open_database
from prepcheck.store.faults import readable
from prepcheck.store.rows import (
    Disagreement,
    EarlierInspection,
    Entry,
    Job,
    JobLine,
    Leaf,
    Logged,
    LoggedEvent,
    Moment,
    NewJob,
    Person,
    PinCheck,
    Seal,
    Story,
    TreeHead,
)
from prepcheck.terms import Standing
from prepcheck.trade.entries import AnyEntry, Sealed

Events = tuple[LoggedEvent, ...]


class Store:
    """A log. It holds no connection between two calls and need not be closed.

    Parameters
    ----------
    address : StoreAddress
        Its folder, and its database if that is no file in there.
    settings : StoreSettings
        How long to wait for others, and which pictures look the same.
    create : bool
        Whether to make a log that is not there.
    """

    def __init__(self, address: StoreAddress, settings: StoreSettings, *, create: bool = True) -> None:
        self.address = address
        self._settings = settings
        self._database = open_database(address, settings, create=create)

    @property
    def folder(self) -> Path:
        """Where the shop's keys, and the photos or their place, are."""
        return self.address.folder

    @property
    def engine(self) -> sa.Engine:
        """What opens connections; for those who watch it."""
        return self._database.engine

    def reading(self) -> AbstractContextManager[sa.Connection]:
        """Open a transaction that only reads, and sees one moment."""
        return self._database.reading()

    def writing(self) -> AbstractContextManager[sa.Connection]:
        """Open a transaction that keeps other writers out; an error takes all of it back."""
        return self._database.writing()

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

    def add_event(self, number: str | None, entry: AnyEntry, person: str, at: datetime, role: str = "") -> LoggedEvent:
        """Add an entry about a job, or about the log as a whole when `number` is None; `role` as proved by a PIN."""
        with self.writing() as connection:
            return events.add_event(connection, number, entry, person, at, role)

    def decide(
        self, number: str, decide: Callable[[Events], AnyEntry], person: str, at: datetime, role: str = ""
    ) -> LoggedEvent:
        """Add the entry that `decide` makes of the job's entries so far, to which nobody can add in between.

        What `decide` raises is raised, and nothing is logged.
        """
        with self.writing() as connection:
            with readable(self.address.name):
                known = events.read_events(connection, number)
            entry = decide(known)
            return events.add_event(connection, number, entry, person, at, role)

    def events(self, number: str | None, kind: str | None = None) -> Events:
        """Return the entries about a job, or about the log as a whole, in order; only those of a `kind` where one is named."""
        with self.reading() as connection:
            return events.read_events(connection, number, kind)

    def events_of(self, jobs: Sequence[str]) -> dict[str, Events]:
        """Return the entries about each of several jobs, in order."""
        with self.reading() as connection:
            return {job: events.read_events(connection, job) for job in jobs}

    def leaves(self, job: str | None = None) -> list[Leaf]:
        """Return what went into the tree, in order: all of it, or what belongs to a job."""
        with self.reading() as connection:
            return leaves.read_leaves(connection, job)

    def tree_head(self) -> TreeHead:
        """Return size and root of the tree over the whole log."""
        with self.reading() as connection:
            return leaves.tree_head(connection)

    def add_seal(self, number: str, sealed: Sealed, person: str, at: datetime, role: str = "") -> LoggedEvent:
        """Add that a job was sealed; a head that is none of this log's is a `StoreFault`."""
        with self.writing() as connection:
            events.check_head(connection, sealed)
            return events.add_event(connection, number, sealed, person, at, role)

    def seals(self) -> list[Seal]:
        """Return the seals of all jobs, oldest first."""
        with self.reading() as connection:
            return events.read_seals(connection)

    def record_text(self, inspection: int) -> str:
        """Return an inspection's record as canonical JSON: its SHA-256 is ``record_sha256`` in the inspection's leaf."""
        with self.reading() as connection:
            return read.record_text(connection, inspection)

    def record_texts(self, inspections: Sequence[int]) -> dict[int, str]:
        """Return the records of inspections as JSON, by number; of numbers that are none of this log's there is none."""
        with self.reading() as connection:
            return dict(read.record_texts(connection, inspections))

    def moment(self, number: str) -> Moment:
        """Return a job and the whole log as they are at one moment; an unknown job is an `UnknownRecord`."""
        with self.reading() as connection:
            story = read.story(connection, number)
            records = {one.number: read.record_text(connection, one.number) for one in story.inspections}
            return Moment(story, records, leaves.read_leaves(connection, told_of=number), events.read_seals(connection))

    def people(self) -> list[Person]:
        """Return all people who were not erased, in the order in which they were first named."""
        with self.reading() as connection:
            return events.read_people(connection)

    def set_credentials(
        self, name: str, role: str, pin: str, *, by: str, at: datetime, allow: Callable[[list[Person]], None]
    ) -> Person:
        """Give a person a role and the hash of a PIN; what `allow` raises at the people so far is raised."""
        with self.writing() as connection:
            allow(events.read_people(connection))
            return events.set_credentials(connection, name, role, pin, by, at)

    def try_pin(self, name: str, at: datetime, check: Callable[[PinCheck], bool]) -> Person | None:
        """Log whether `check` finds the PIN of a person right; return the person if so, else None."""
        with self.writing() as connection:
            return events.try_pin(connection, name, at, check)

    def erase_person(self, name: str, *, reason: str, by: str, at: datetime, role: str = "") -> LoggedEvent:
        """Take a person's name and PIN out of the log."""
        with self.writing() as connection:
            return erase.erase_person(connection, name, reason, by, at, role)

    def erase_job(self, number: str, *, reason: str, by: str, at: datetime, role: str = "") -> LoggedEvent:
        """Take title, part and customer reference of a job out of the log."""
        with self.writing() as connection:
            return erase.erase_job(connection, number, reason, by, at, role)

    def erase_event(self, number: int, *, reason: str, by: str, at: datetime, role: str = "") -> LoggedEvent:
        """Take the text of an entry out of the log."""
        with self.writing() as connection:
            return erase.erase_event(connection, number, reason, by, at, role)

    def tell_photo_erased(
        self, sha256: str, *, reason: str, by: str, at: datetime, role: str = ""
    ) -> list[LoggedEvent]:
        """Log in each job with this photo that it was erased; taking the file away is up to the caller."""
        with self.writing() as connection:
            return erase.tell_photo_erased(connection, sha256, reason, by, at, role)

    def check_job(self, number: str) -> None:
        """Raise `UnknownRecord` when there is no such job."""
        with self.reading() as connection:
            append.job_id_of(connection, number)

    def jobs(
        self, standing: Standing | None = None, *, newest: int | None = None, before: str | None = None
    ) -> list[JobLine]:
        """Return jobs, newest first: at most `newest`, opened before job `before`, last seen with `standing`."""
        with self.reading() as connection:
            if before is not None:
                append.job_id_of(connection, before)
            return job_lines.list_jobs(connection, standing, newest, before)

    def count_jobs(self, before: str | None = None) -> int:
        """Return how many jobs there are, or how many were opened before job `before`."""
        with self.reading() as connection:
            if before is not None:
                append.job_id_of(connection, before)
            return job_lines.count_jobs(connection, before)

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
