"""Every photo of a log once more, with the model and settings of today: what is different now, and what is the same."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from prepcheck.archive import Archive, open_archive
from prepcheck.archive.carried import Carried
from prepcheck.batch.ledger import Ledger, Row
from prepcheck.batch.run import Round, Way
from prepcheck.batch.sources import Item
from prepcheck.batch.work import Done, LookKey, LookSpec, Task, failed
from prepcheck.errors import PrepcheckError, UnknownRecord, Unreadable
from prepcheck.inspection import Inspection
from prepcheck.passes import look_again
from prepcheck.record import Record, record_of
from prepcheck.report.contact_thumbnail import side_by_side, thumbnail
from prepcheck.spot.same_spot import AskPerson, same_spot
from prepcheck.store import StoreAddress, address_of, default_folder, job_number
from prepcheck.store.answered import Answered, answered
from prepcheck.store.store import Store
from prepcheck.tasks import open_log

FILE = "again.sqlite"
"""Name of the ledger of what is looked at again, apart from that of a batch."""


@dataclass(frozen=True)
class AgainTask:
    """Look again at the photo or set of a logged inspection.

    Parameters
    ----------
    number : int
        Its number in this call.
    name : str
        Of the inspection, see `name_of`.
    spec : LookSpec
        How to look; a stated scale is the inspection's own.
    folder : Path
        Of the store: says where its photos are.
    before : Record
        As logged.
    outline : int or None
        The outline that was the spot.
    archive : Archive or None
        Where its photos are, for a worker on another machine; that of `folder` when None.
    """

    number: int
    name: str
    spec: LookSpec = field(repr=False)
    folder: Path
    before: Record = field(repr=False)
    outline: int | None
    archive: Archive | None = field(default=None, repr=False)

    def carrying(self) -> AgainTask:
        """Return the task with its photos, read here, or with where all reach them; as it is when they cannot be read."""
        archive = open_archive(self.folder)
        photos = {photo.sha256 for photo in self.before.photos or [self.before.photo]}
        try:
            return replace(self, archive=archive if archive.is_shared else Carried.of(archive, photos))
        except PrepcheckError:
            return self

    def work(self) -> Done:
        """Read the photos from the archive and look at them."""
        try:
            look = self.spec.look()
            seen = look_again(self.before, self.archive or open_archive(self.folder), look.model, look.settings)
        except PrepcheckError as error:
            return failed(self, error)
        record, rgb = record_of(seen), seen.photo.view(look.settings.photo.working_px).rgb
        pictures = [thumbnail(self.before, rgb, None), thumbnail(record, rgb, seen.surface.states)]
        return Done(
            self.number,
            self.name,
            self.before.photo.sha256,
            record.model_dump_json(),
            thumbnail=side_by_side(pictures),
            outline=_same_outline(self.before, self.outline, seen, self.spec),
        )


def _same_outline(before: Record, outline: int | None, seen: Inspection, spec: LookSpec) -> int | None:
    """Return the outline that is the spot of before in the same photo, None where that is not clear."""
    old = next((spot for spot in before.spots if spot.number == outline), None)
    spots = [spot for spot, _ in seen.answer.spots]
    if old is None:
        return None
    same = same_spot(np.array(old.outline, np.float64), spots, seen.surface, np.eye(3), spec.settings)
    return None if isinstance(same, AskPerson) else same.number


def name_of(job: str, one: Answered) -> str:
    """Return the name under which a ledger has a logged inspection."""
    return f"{job}/spot {one.spot}/pass {one.pass_no}/inspection {one.number}"


def job_of(name: str) -> str:
    """Return the job in such a name."""
    return name.partition("/")[0]


@dataclass(frozen=True)
class Logged:
    """The inspections of a log that another one does not correct, as a source of work.

    Parameters
    ----------
    store : Store
        The log.
    folder : Path
        Of the store.
    jobs : tuple of str
        Numbers of the jobs to look through.
    key : LookKey
        What has this key is as of today.
    """

    store: Store = field(repr=False)
    folder: Path
    jobs: tuple[str, ...]
    key: LookKey
    _at_hand: dict[str, dict[int, Answered]] = field(default_factory=dict, repr=False)
    is_shared = False

    @property
    def name(self) -> str:
        """Its folder."""
        return str(self.folder)

    def inspections(self) -> Iterator[tuple[str, Answered]]:
        """Yield job and inspection, by job and number, those with an answer as of today left out."""
        for job in self.jobs:
            for one in answered(self.store, job):
                if not one.corrected and not self.is_of_today(one):
                    yield job, one

    def is_of_today(self, one: Answered) -> bool:
        """Whether an inspection was made with this program, model and settings."""
        today = self.key.version, self.key.model_sha256, self.key.settings_sha256
        return (one.version, one.model_sha256, one.settings_sha256) == today

    def items(self) -> Iterator[Item]:
        """Yield the inspections."""
        for job, one in self.inspections():
            yield Item(name_of(job, one), stamp=one.photo_sha256)

    def round(self, way: Way, ledger: Ledger) -> Round:
        """Return the work of looking at all of them again."""
        return Round(self, way, ledger, task=self.task)

    def read(self, item: Item) -> bytes:
        """Refuse: a set has several photos, which the task itself reads."""
        raise Unreadable("is no photo but an inspection", "Report this", item.name)

    def task(self, number: int, item: Item, spec: LookSpec, known: frozenset[str]) -> Task:
        """Make the task for an inspection."""
        one, before = self.before(item.name)
        return AgainTask(number, item.name, replace(spec, mm_per_px=None), self.folder, before, one.outline)

    def before(self, name: str) -> tuple[Answered, Record]:
        """Return an inspection and its record as logged; one of another log is an `UnknownRecord`."""
        job, inspection = job_of(name), int(name.rpartition(" ")[2])
        if job not in self._at_hand:
            self._at_hand.clear()
            self._at_hand[job] = {one.number: one for one in answered(self.store, job)}
        one = self._at_hand[job].get(inspection)
        if one is None:
            raise UnknownRecord("is of another log", "Use another folder with --out", name)
        return one, Record.model_validate_json(self.store.record_text(inspection))


def open_logged(place: StoreAddress | None, job: str | None, spec: LookSpec) -> tuple[Logged, Archive]:
    """Open a log, and its archive, to look again at all of it or at one job.

    Raises
    ------
    UnknownRecord, StoreFault
        No log, no such job, or a log that cannot be opened.
    """
    address = address_of(default_folder() if place is None else place)
    store, archive = open_log(address, spec.settings, create=False)
    if job is not None:
        store.check_job(job_number(job))
    jobs = [line.job.number for line in store.jobs()] if job is None else [job_number(job)]
    return Logged(store, address.folder, tuple(sorted(jobs)), spec.key), archive


@dataclass(frozen=True)
class Change:
    """An inspection before and after: its row in the ledger, and both records; `after` is None where it came to nothing."""

    row: Row
    one: Answered
    before: Record
    after: Record | None

    @property
    def is_other(self) -> bool:
        """Whether the standing is another one."""
        return self.after is not None and self.after.standing is not self.before.standing

    @property
    def by(self) -> float:
        """By how much the bright share differs; 0 where one of both has none."""
        if self.after is None or self.after.bright_share is None or self.before.bright_share is None:
            return 0.0
        return self.after.bright_share - self.before.bright_share


def changes(logged: Logged, ledger: Ledger) -> Iterator[Change]:
    """Yield every inspection of the ledger, before and after, by name."""
    for row in ledger.rows():
        one, before = logged.before(row.name)
        line = row.record
        yield Change(row, one, before, line if isinstance(line, Record) else None)
