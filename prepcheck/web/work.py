"""Inspections that phones ask for: each is done in a worker process, and logged once even if the server is killed.

The book has each work from the moment it is accepted. Only the server logs, one work at a time (`prepcheck.web.log_once`). A
server that starts takes up the works that were not finished; for the one that was being logged it looks first whether the
log has it already.
"""

from __future__ import annotations

import json
import logging
import secrets
import shutil
import threading
from concurrent.futures import BrokenExecutor, Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass, field
from enum import StrEnum, auto
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from prepcheck import tasks
from prepcheck.archive import Archive
from prepcheck.archive.durable import make_folder
from prepcheck.errors import NotAllowed, PrepcheckError
from prepcheck.looking import Seen
from prepcheck.record import Record
from prepcheck.settings import Settings
from prepcheck.store import job_number
from prepcheck.store.words import folded
from prepcheck.web import book as b
from prepcheck.web import looker
from prepcheck.web.asked import Asked
from prepcheck.web.book import Book, moment
from prepcheck.web.errors import Busy, Clash, KeyTaken, UnknownPage
from prepcheck.web.limits import WebLimits
from prepcheck.web.log_once import LogOnce
from prepcheck.web.looker import Fault, Task
from prepcheck.web.pictures import CHOICE_FILE, Pictures
from prepcheck.web.shop import Clock
from prepcheck.web.uploads import Upload, Uploads
from prepcheck.web.workers import Workers

if TYPE_CHECKING:
    from prepcheck.store.store import Store

_LOG = logging.getLogger("prepcheck.web")
_STAGES = {
    "reading": (0.1, "Reading the photo"),
    "looking": (0.3, "Looking for residue"),
    "comparing": (0.7, "Comparing with the passes before"),
    "logging": (0.95, "Writing it into the log"),
}
_KILLED = Fault("fault", "The photo made prepcheck stop twice. Take it again, or inspect it on the computer.", 500)


class State(StrEnum):
    """How far a work is; in the book a work that runs still waits."""

    WAITING = auto()
    RUNNING = auto()
    LOGGING = auto()
    DONE = auto()
    FAILED = auto()


@dataclass(frozen=True)
class Status:
    """How far a work is. `outlines` are those among which a person must choose the spot's, by number."""

    state: State
    share: float
    text: str
    inspection: int | None = None
    fault: Fault | None = None

    @property
    def ended(self) -> bool:
        """Whether nothing more will happen to it by itself."""
        return self.state in (State.DONE, State.FAILED)


@dataclass
class _Live:
    task: Task
    future: Future[Seen | Fault] | None = field(default=None)


class Works:
    """The works of a shop."""

    def __init__(
        self,
        folder: Path,
        book: Book,
        log: tuple[Store, Archive],
        uploads: Uploads,
        pictures: Pictures,
        clock: Clock,
        limits: WebLimits,
        settings: Settings,
        workers: Workers,
    ) -> None:
        self._folder, self._book, self._uploads, self._pictures = folder, book, uploads, pictures
        self._store, self._archive = log
        self._once = LogOnce(book, *log, clock)
        self._clock, self._limits, self._settings = clock, limits, settings
        self._workers = workers
        self._logger = ThreadPoolExecutor(1, "logging")
        self._live: dict[str, _Live] = {}
        self._lock = threading.Lock()
        make_folder(folder)

    # ---- asking

    def accept(self, asked: Asked, person: str) -> str:
        """Accept a work and return its id; one with the same key is the same work, and tried again if it failed.

        Raises
        ------
        WrongUse, UnknownRecord
            What cannot be logged, or no such job or inspection.
        UnknownPage, Clash
            An upload is not there, not whole, or taken by another work; the key belongs to another question.
        Busy
            Too many works wait.
        """
        tasks.check_entry(spot=asked.spot, pass_no=asked.pass_no, person=person, note=asked.note)
        self._store.check_job(job_number(asked.job))
        if len(self._live) >= self._limits.waiting:
            raise Busy
        with self._book.writing() as connection:
            row = connection.execute(sa.select(b.works).where(b.works.c.key == asked.key)).first()
            if row is not None and row.state != State.FAILED:
                if Asked.model_validate_json(row.asked) != asked:
                    raise KeyTaken("this key belongs to another question", "Make a new key", asked.key)
                return str(row.id)
            id = secrets.token_hex(16) if row is None else str(row.id)
            uploads = self._claim(connection, asked, id)
            told = {"asked": asked.model_dump_json(), "person": person, "state": State.WAITING, "fault": None}
            if row is None:
                told |= {"id": id, "key": asked.key, "made_at": moment(self._clock())}
                connection.execute(sa.insert(b.works).values(told))
            else:
                connection.execute(sa.update(b.works).where(b.works.c.id == id).values(told))
        self._begin(id, asked, person, uploads)
        return id

    def choose(self, id: str, outline: int, person: str) -> None:
        """Ask again with the outline that the person who asked chose as the job's spot.

        Raises
        ------
        UnknownPage, NotAllowed
            No such work; or another person asked.
        """
        row = self._row(id)
        if folded(row.person) != folded(person):
            raise NotAllowed("this photo was taken by somebody else", f"Sign in as {row.person} to choose", person)
        asked = Asked.model_validate_json(row.asked)
        self.accept(asked.model_copy(update={"outline": outline}), row.person)

    def choice_picture(self, id: str) -> bytes | None:
        """Return the photo of a work with the outlines to choose among (JPEG), None where it is not kept."""
        try:
            return (self._folder / id / CHOICE_FILE).read_bytes()
        except OSError:
            return None

    def _claim(self, connection: sa.Connection, asked: Asked, id: str) -> list[Upload]:
        """Take the uploads of a work, so that no other work logs them too."""
        uploads = [self._uploads.read(connection, one) for one in asked.uploads]
        for upload in uploads:
            if not upload.whole:
                raise Clash(f"is not here yet, only {upload.offset:,} bytes", "Send the rest first", upload.name)
            if upload.used_by not in (None, id):
                raise KeyTaken("is inspected or logged already", "Send the photo as a new upload", upload.name)
        connection.execute(sa.update(b.uploads).where(b.uploads.c.id.in_(asked.uploads)).values(used_by=id))
        return uploads

    def status(self, id: str) -> Status:
        """Say how far a work is; `UnknownPage` when there is none."""
        if id in self._live:
            return self._live_status(id)
        row = self._row(id)
        if row.state == State.DONE:
            return Status(State.DONE, 1.0, "Done", row.inspection)
        if row.state == State.FAILED:
            fault = Fault(**json.loads(row.fault))
            return Status(State.FAILED, 1.0, fault.message, None, fault)
        return self._live_status(id)

    def _live_status(self, id: str) -> Status:
        """Say how far a work is that goes on; asked often, so without the book."""
        stage = self._stage(id)
        if stage in _STAGES:
            return Status(State.RUNNING, *_STAGES[stage])
        before = self._before(id)
        return Status(State.WAITING, 0.0, f"Waits for {before} before it" if before else "Waits for its turn")

    def _row(self, id: str) -> Any:
        with self._book.reading() as connection:
            row = connection.execute(sa.select(b.works).where(b.works.c.id == id)).first()
        if row is None:
            raise UnknownPage("no such work", "Send the photo again")
        return row

    def _stage(self, id: str) -> str:
        try:
            return (self._folder / id / looker.STAGE_FILE).read_text(encoding="ascii")
        except OSError:
            return ""

    def _before(self, id: str) -> int:
        with self._lock:
            ids = list(self._live)
        return ids.index(id) if id in ids else 0

    # ---- looking

    def _begin(self, id: str, asked: Asked, person: str, uploads: list[Upload]) -> None:
        out = self._folder / id
        shutil.rmtree(out, ignore_errors=True)
        make_folder(out)
        try:
            task = self._task(out, asked, person, uploads)
        except PrepcheckError as error:
            self._fail(id, Fault(error.code, error.plain, error.http_status))
            return
        self._submit(id, _Live(task))

    def _task(self, out: Path, asked: Asked, person: str, uploads: list[Upload]) -> Task:
        paths = [self._uploads.path(upload) for upload in uploads]
        names = [upload.name for upload in uploads]
        scale = asked.mm_per_px
        if asked.corrects is not None and not uploads:
            record = Record.model_validate_json(self._store.record_text(asked.corrects))
            paths, names = self._archived(record, out)
            scale = scale or record.photo.stated_mm_per_px
        return Task(
            store=self._store.address,
            out=out,
            paths=tuple(paths),
            names=tuple(names),
            settings=self._settings,
            job=asked.job,
            spot=asked.spot,
            pass_no=asked.pass_no,
            person=person,
            note=asked.note,
            outline=asked.outline,
            mm_per_px=scale,
            outlines=asked.outlines_json(),
        )

    def _archived(self, record: Record, out: Path) -> tuple[list[Path], list[str]]:
        """Bring the photos of a logged inspection out of the archive, to look at them again."""
        photos = {photo.sha256: photo for photo in record.photos or [record.photo]}
        paths = []
        for number, sha256 in enumerate(photos):
            paths.append(out / f"photo-{number}")
            paths[-1].write_bytes(self._archive.get(sha256))
        first = next(iter(photos.values()))
        names = [record.photo.name if photo is first else photo.name for photo in photos.values()]
        return paths, names

    def _submit(self, id: str, live: _Live) -> None:
        with self._lock:
            self._live[id] = live
        live.future = self._workers.begin(looker.look, live.task)
        live.future.add_done_callback(lambda future: self._hand_on(id, future))

    def _hand_on(self, id: str, future: Future[Seen | Fault]) -> None:
        if not future.cancelled():
            self._logger.submit(self._finish, id, future)

    def _finish(self, id: str, future: Future[Seen | Fault]) -> None:
        try:
            live = self._live[id]
            self._end(id, live.task, self._answer(live, future))
        except Exception as error:
            _LOG.error("work %s: %r", id, error, exc_info=error)
            self._settle(id, Fault("fault", "prepcheck has a fault here. Try again.", 500))
        finally:
            self._live.pop(id, None)

    def _answer(self, live: _Live, future: Future[Seen | Fault]) -> Seen | Fault:
        """Return what a worker found; if its process died, let it look once more, alone."""
        try:
            return future.result()
        except BrokenExecutor:
            self._workers.renew()
        try:
            return self._workers.alone(looker.look, live.task)
        except BrokenExecutor:
            return _KILLED

    # ---- logging

    def _end(self, id: str, task: Task, answer: Seen | Fault) -> None:
        if isinstance(answer, Fault):
            self._fail(id, answer)
            return
        looker.say_stage(task.out, "logging")
        try:
            number = self._once.log(self._row(id), task, answer)
        except PrepcheckError as error:
            self._settle(id, Fault(error.code, error.plain, error.http_status))
        else:
            self._done(id, number)

    def _settle(self, id: str, fault: Fault) -> None:
        """End a work in which something failed: as done if the log has it all the same."""
        found = self._once.found(self._row(id))
        if found is None:
            self._fail(id, fault)
        else:
            self._done(id, found)

    def _done(self, id: str, number: int) -> None:
        """Note the number first; what fails after that costs a picture, which is made again, or some room on the disk."""
        self._change(id, state=State.DONE, inspection=number, fault=None)
        try:
            self._pictures.take(number, self._folder / id)
            for upload in self._uploads.used_by(id):
                self._uploads.remove(upload)
        except OSError as error:
            _LOG.warning("work %s is logged, but not tidied up: %s", id, error)

    def _fail(self, id: str, fault: Fault) -> None:
        """Say why nothing was logged, and let the uploads go, so that they can be asked for again."""
        with self._book.writing() as connection:
            told = {
                "state": State.FAILED,
                "fault": json.dumps(asdict(fault)),
                "logging_at": None,
                "logging_after": None,
            }
            connection.execute(sa.update(b.works).where(b.works.c.id == id).values(told))
            connection.execute(
                sa.update(b.uploads)
                .where(b.uploads.c.used_by == id)
                .values(used_by=None, changed_at=moment(self._clock()))
            )
        if fault.outlines is None:  # what a person chooses by is kept
            shutil.rmtree(self._folder / id, ignore_errors=True)

    def _change(self, id: str, **values: Any) -> None:
        with self._book.writing() as connection:
            connection.execute(sa.update(b.works).where(b.works.c.id == id).values(values))

    # ---- starting and stopping

    def take_up(self) -> None:
        """Go on with the works that a server before did not finish."""
        self._workers.begin(looker.ready)
        with self._book.reading() as connection:
            unfinished = b.works.c.state.in_((State.WAITING, State.LOGGING))
            rows = connection.execute(sa.select(b.works).where(unfinished).order_by(b.works.c.number)).all()
        for row in rows:
            found = self._once.found(row)
            if found is None:
                self._change(row.id, state=State.WAITING, logging_at=None, logging_after=None)
                asked = Asked.model_validate_json(row.asked)
                uploads = [self._uploads.find(one) for one in asked.uploads]
                self._begin(row.id, asked, row.person, uploads)
            else:
                self._done(row.id, found)
        self._tidy()

    def _tidy(self) -> None:
        """Drop what is left of works that ended."""
        for path in self._folder.iterdir():
            if path.name not in self._live:
                shutil.rmtree(path, ignore_errors=True)

    def stop(self) -> None:
        """Finish what is being looked at and logged; what waits is taken up by the next server."""
        self._workers.stop()
        self._logger.shutdown()
