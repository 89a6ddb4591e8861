"""What a worker does: plain data in, plain data out, so that it may be another process or another machine."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import PurePosixPath
from typing import Protocol

import cv2

from prepcheck import __version__
from prepcheck.batch.sources import Item, Source, read_all
from prepcheck.errors import BrokenInput, ModelFault, PrepcheckError, printable
from prepcheck.inspection import settings_sha256
from prepcheck.looking import Look, Received, received
from prepcheck.record import broken_record, record_of
from prepcheck.report.contact_thumbnail import thumbnail
from prepcheck.settings import Settings
from prepcheck.surface import ModelOrigin, load_model
from prepcheck.surface.moved_light import load_weighing


@dataclass(frozen=True)
class LookKey:
    """All that an answer depends on beside the photo's bytes: the same key, the same answer."""

    version: str
    model_sha256: str
    settings_sha256: str
    inputs_sha256: str = ""

    def of_set(self, more: Sequence[str]) -> LookKey:
        """Return the key for a moved-light set with `more` photos beside the first, or for a clip."""
        weighing = load_weighing(self.model_sha256)
        told = json.dumps([self.inputs_sha256, "" if weighing is None else weighing.sha256, *more])
        return replace(self, inputs_sha256=hashlib.sha256(told.encode()).hexdigest())

    @cached_property
    def text(self) -> str:
        """SHA-256 (hex) over all of it."""
        parts = (self.version, self.model_sha256, self.settings_sha256, self.inputs_sha256)
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()


@dataclass(frozen=True)
class LookSpec:
    """How to look, as plain data.

    Parameters
    ----------
    settings : Settings
        Thresholds.
    origin : ModelOrigin
        Name of the model in the registry, what it must be, and its calibration with a shop's own fit, if there is one.
    unused_fit : str
        Why a shop's fit is not used; see `prepcheck.surface.Model`.
    mm_per_px : float, optional
        A stated scale.
    """

    settings: Settings
    origin: ModelOrigin
    unused_fit: str = ""
    mm_per_px: float | None = None

    @classmethod
    def of(cls, look: Look) -> LookSpec:
        """Describe a look."""
        return cls(look.settings, look.model.origin, look.model.unused_fit, look.mm_per_px)

    def look(self) -> Look:
        """Load the model, once a process.

        Raises
        ------
        ModelFault
            It is not there, or is another one on this machine.
        """
        model = load_model(self.origin.name)
        if model.origin.sha256 != self.origin.sha256:
            raise ModelFault("is another model on the worker than here", "Install one version on all", self.origin.name)
        return Look(self.settings, replace(model, origin=self.origin, unused_fit=self.unused_fit), self.mm_per_px)

    @cached_property
    def key(self) -> LookKey:
        """What answers of this look depend on; loads the model."""
        look = self.look()
        digest = settings_sha256(look.settings, look.model)
        return LookKey(__version__, look.model.origin.sha256, digest, look.inputs_sha256())

    @property
    def told(self) -> str:
        """What answers are made with, in words."""
        return f"prepcheck {__version__}, model {self.origin.name} ({self.origin.sha256[:12]})"

    def stating(self, mm_per_px: float | None) -> LookSpec:
        """Return the same with another stated scale; None leaves it."""
        return self if mm_per_px in (None, self.mm_per_px) else replace(self, mm_per_px=mm_per_px)


@dataclass(frozen=True)
class Done:
    """What came of a task.

    Parameters
    ----------
    number : int
        That of the task.
    name : str
        Of the item, as in the source.
    sha256 : str
        SHA-256 (hex) of the bytes that were read, see `sha256_of`; empty when none could be, and so worth another try.
    line : str
        The contract's line, of a record or of an error, with the item's printable name; empty when `sha256` is among
        those that the task knew, for then nothing was computed.
    error : str
        Code of the error; empty for an answer.
    thumbnail : bytes
        JPEG of the photo with its marks; empty for an error.
    outline : int or None
        Of a photo looked at again: the outline that is the spot of before.
    seconds : float
        Spent on reading and looking.
    """

    number: int
    name: str
    sha256: str = ""
    line: str = ""
    error: str = ""
    thumbnail: bytes = field(default=b"", repr=False)
    outline: int | None = None
    seconds: float = 0.0


class Task(Protocol):
    """One piece of work, picklable; `number` is unique in a call."""

    @property
    def number(self) -> int:
        """Its number."""
        ...

    @property
    def name(self) -> str:
        """What it is about, for messages."""
        ...

    def work(self) -> Done:
        """Do it; faults are told in the answer, not raised."""
        ...


@dataclass(frozen=True)
class PhotoTask:
    """Look at one photo, clip or moved-light set.

    Parameters
    ----------
    number : int
        Its number in this call.
    item : Item
        The photo.
    source : Source
        Where it is read.
    spec : LookSpec
        How to look.
    known : frozenset of str
        SHA-256 of bytes of this name that were looked at like this before.
    files : tuple of bytes or None
        Its bytes, or those of each photo of the set, for a worker that cannot reach the source.
    """

    number: int
    item: Item
    source: Source = field(repr=False)
    spec: LookSpec = field(repr=False)
    known: frozenset[str] = frozenset()
    files: tuple[bytes, ...] | None = field(default=None, repr=False)

    @property
    def name(self) -> str:
        """Name of the photo."""
        return self.item.name

    def carrying(self) -> PhotoTask:
        """Return the task with the photo's bytes, read here; without them when that fails, so that the worker tells why."""
        try:
            return replace(self, files=read_all(self.source, self.item))
        except PrepcheckError:
            return self

    def work(self) -> Done:
        """Read the photo and look at it."""
        sha256 = ""
        try:
            files = read_all(self.source, self.item) if self.files is None else self.files
            sha256 = sha256_of(files)
            if sha256 in self.known:
                return Done(self.number, self.name, sha256)
            return self._looked(files, sha256)
        except PrepcheckError as error:
            return failed(self, error, sha256)

    def _looked(self, files: tuple[bytes, ...], sha256: str) -> Done:
        look = self.spec.look()
        inspection = look.inspect(received_of(self.item, files, look).photos)
        record, rgb = record_of(inspection), inspection.photo.view(look.settings.photo.working_px).rgb
        named = record.model_copy(update={"photo": record.photo.model_copy(update={"name": printable(self.name)})})
        return Done(
            self.number,
            self.name,
            sha256,
            named.model_dump_json(),
            thumbnail=thumbnail(record, rgb, inspection.surface.states),
        )


def sha256_of(files: Sequence[bytes]) -> str:
    """Return the SHA-256 (hex) of one file; of the photos of a set that of the lines of theirs."""
    each = [hashlib.sha256(data).hexdigest() for data in files]
    return each[0] if len(each) == 1 else hashlib.sha256("\n".join(each).encode()).hexdigest()


def received_of(item: Item, files: Sequence[bytes], look: Look) -> Received:
    """Read the photos of an item, under their printable names without folders."""
    names = [printable(PurePosixPath(name).name) for name in (item.name, *item.more)]
    return received(files, names, look, clip=item.is_clip)


def failed(task: Task, error: PrepcheckError, sha256: str = "") -> Done:
    """Tell that a task came to nothing; a fault of the machine, not of the photo, is worth another try."""
    line = broken_record(printable(task.name), error.code, error.message).model_dump_json()
    lasting = isinstance(error, BrokenInput) and error.code != "missing_decoder"
    return Done(task.number, task.name, sha256 if lasting else "", line, error.code)


def start_worker() -> None:
    """Give OpenCV one thread: workers share the cores among themselves."""
    cv2.setNumThreads(1)


def work_on(task: Task) -> Done:
    """Do a task and say how long it took; what nobody foresaw is told as an error of this task alone."""
    start = time.perf_counter()
    try:
        done = task.work()
    except Exception as error:
        done = failed(
            task,
            PrepcheckError(
                f"cannot be looked at ({type(error).__name__}: {error})", "Report this", printable(task.name)
            ),
        )
    return replace(done, seconds=time.perf_counter() - start)
