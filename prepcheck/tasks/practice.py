"""Practice: begin a session, fix a mark, then see the difference. Sessions stand in the log as entries of the log as a whole.

A session is named by the number of the entry that began it. Of two marks of one photo the first counts, and no answer is
made before there is one. Names stand in the log alone, so that erasing a person reaches them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from prepcheck import __version__
from prepcheck.archive import Archive, FolderArchive
from prepcheck.errors import NotAllowed, UnknownRecord, WrongUse
from prepcheck.inspection import Inspection, inspect
from prepcheck.photo import Photo, from_bytes
from prepcheck.practice import Answer, Difference, Mark, differ, from_png, of_tool, of_truth, to_png
from prepcheck.settings import Settings
from prepcheck.store import LoggedEvent, StoreAddress, address_of, default_folder
from prepcheck.store import words as w
from prepcheck.surface import Model
from prepcheck.tasks.entries import cleaned
from prepcheck.trade.entries import (
    MOST_PRACTICE_PHOTOS,
    AnyEntry,
    PracticeCompared,
    PracticeMarked,
    PracticePhoto,
    PracticeStarted,
)

if TYPE_CHECKING:
    from prepcheck.store.store import Store

FOLDER = "practice"
"""In the store's folder: marks, and photos that are in no job."""


class KnownTruth(Protocol):
    """What a rendered photo truly shows."""

    @property
    def states_path(self) -> Path: ...  # noqa: D102

    def states(self) -> NDArray[np.uint8]: ...  # noqa: D102

    def ground(self) -> NDArray[np.uint8]: ...  # noqa: D102


class KnownPhoto(Protocol):
    """A photo of which the truth is known, such as `prepcheck.samples.Sample`."""

    @property
    def path(self) -> Path: ...  # noqa: D102

    @property
    def origin(self) -> str: ...  # noqa: D102

    @property
    def truth(self) -> KnownTruth: ...  # noqa: D102


Known = Callable[[str], KnownPhoto | None]
"""Finds a photo with known truth by the SHA-256 of its bytes."""


@dataclass(frozen=True, eq=False)
class Room:
    """Where practice takes place.

    Parameters
    ----------
    store, photos : Store, Archive
        The log and its photos.
    own : Archive
        Marks, and photos that are in no job.
    known : callable
        See `Known`.
    settings : Settings
        The shop's thresholds.
    """

    store: Store = field(repr=False)
    photos: Archive = field(repr=False)
    own: Archive = field(repr=False)
    known: Known = field(repr=False)
    settings: Settings

    def photo_bytes(self, sha256: str) -> bytes:
        """Return the bytes of a photo; `UnknownRecord` when it is not there, or was erased."""
        known = self.known(sha256)
        if known is not None:
            return known.path.read_bytes()
        return (self.photos if self.photos.has(sha256) else self.own).get(sha256)

    def check_photo(self, sha256: str) -> None:
        """Raise `UnknownRecord` when a photo is not there, or was erased."""
        if not (self.known(sha256) or self.photos.has(sha256) or self.own.has(sha256)):
            raise UnknownRecord("its photo was erased or is lost", "Choose another", sha256)

    def photo(self, one: PracticePhoto) -> Photo:
        """Return a photo of a session."""
        return from_bytes(self.photo_bytes(one.sha256), one.name, self.settings)


@dataclass(frozen=True)
class Session:
    """A session as logged.

    Parameters
    ----------
    number : int
        Of the entry that began it.
    person, at : str
        Who practises, and since when.
    photos : tuple of PracticePhoto
        In the order in which they were chosen.
    marks : dict of str to PracticeMarked
        The first mark of each photo, by its SHA-256.
    compared : dict of (str, str) to PracticeCompared
        By photo, and beside which answer.
    """

    number: int
    person: str
    at: str
    photos: tuple[PracticePhoto, ...]
    marks: dict[str, PracticeMarked] = field(default_factory=dict)
    compared: dict[tuple[str, str], PracticeCompared] = field(default_factory=dict)

    @property
    def next(self) -> int | None:
        """Position, from 1, of the first photo without a mark; None when all are marked."""
        return next((at for at, one in enumerate(self.photos, 1) if one.sha256 not in self.marks), None)

    def photo(self, position: int) -> PracticePhoto:
        """Return the photo at a position, from 1; `UnknownRecord` when there is none."""
        if not 1 <= position <= len(self.photos):
            raise UnknownRecord(f"has {len(self.photos)} photos, no photo {position}", "Choose one of them", self._name)
        return self.photos[position - 1]

    @property
    def _name(self) -> str:
        return f"practice session {self.number}"


@dataclass(frozen=True, eq=False)
class Shown:
    """What is shown of a photo once it is marked.

    Parameters
    ----------
    inspection : Inspection
        The tool's answer.
    tool : Difference
        The mark beside the tool's answer.
    truth : Difference or None
        The mark beside the known truth; None where nothing is known.
    tool_beside_truth : Difference or None
        The tool's own residue beside the known truth: its error on this photo.
    """

    inspection: Inspection = field(repr=False)
    tool: Difference
    truth: Difference | None
    tool_beside_truth: Difference | None


def open_room(place: Path | StoreAddress | None, log: tuple[Store, Archive], known: Known, settings: Settings) -> Room:
    """Return the room of the log at `place`, or in the user's data folder; nothing is made before something is put in."""
    address = address_of(default_folder() if place is None else place)
    return Room(*log, FolderArchive(address.folder / FOLDER), known, settings)


def start_practice(
    room: Room, photos: Sequence[tuple[str, bytes | str]], *, person: str, at: datetime, role: str = ""
) -> Session:
    """Begin a session.

    Parameters
    ----------
    room : Room
        From `open_room`.
    photos : sequence of (str, bytes or str)
        Names with the bytes of each photo, or with the SHA-256 of one that the log or the samples have.
    person, at, role
        Who practises, a pseudonym will do; when; and the role that was proved.

    Raises
    ------
    WrongUse
        No photo, too many, or one twice.
    BrokenInput
        A photo cannot be read.
    """
    name = w.clean(person, "the person's name")
    if not 1 <= len(photos) <= MOST_PRACTICE_PHOTOS:
        raise WrongUse(f"{len(photos)} photos are chosen", f"Choose 1 to {MOST_PRACTICE_PHOTOS}")
    taken = [_taken(room, *one) for one in photos]
    if len({one.sha256 for one in taken}) < len(taken):
        raise WrongUse("one photo is chosen twice", "Choose each once")
    event = room.store.add_event(None, cleaned(PracticeStarted(photos=tuple(taken))), name, at, role)
    return find_practice(room, event.number)


def find_practice(room: Room, number: int) -> Session:
    """Return a session; `UnknownRecord` when there is none, or its entry was erased."""
    found = next((one for one in list_practice(room) if one.number == number), None)
    if found is None:
        raise UnknownRecord(
            "no such practice session", "Choose one of the sessions", str(number), command="prepcheck practice list"
        )
    return found


def list_practice(room: Room, person: str | None = None) -> list[Session]:
    """Return all sessions, or those of a person, in the order in which they began."""
    sessions: dict[int, Session] = {}
    for event in room.store.events(None):
        _take(sessions, event)
    found = list(sessions.values())
    return found if person is None else [one for one in found if w.folded(one.person) == w.folded(person)]


def mark_practice(
    room: Room, session: int, position: int, mark: Mark, *, person: str, at: datetime, role: str = ""
) -> Session:
    """Fix where a person sees residue on a photo of their session; from then on the answer may be shown.

    Raises
    ------
    UnknownRecord
        No such session or photo.
    NotAllowed
        It is somebody else's session.
    WrongUse
        The photo is marked already, or the mark has another size.
    """
    found, name = find_practice(room, session), w.clean(person, "the person's name")
    if w.folded(found.person) != w.folded(name):
        raise NotAllowed("this is somebody else's practice session", "Begin one of your own", name)
    one = found.photo(position)
    if one.sha256 in found.marks:
        raise WrongUse("is marked already, and what was marked stays", "Go on with the next photo", one.name)
    if mark.shape != room.photo(one).rgb.shape[:2]:
        raise WrongUse("the mark has another size than the photo", "Mark the photo again", one.name)
    kept = room.own.put(to_png(mark), "PNG")
    entry = PracticeMarked(session=session, photo_sha256=one.sha256, mark_sha256=kept)
    room.store.add_event(None, entry, name, at, role)
    return find_practice(room, session)


def show_practice(room: Room, session: Session, position: int, model: Model, *, at: datetime) -> Shown:
    """Show a marked photo beside the tool's answer and the known truth; what came out is logged the first time.

    Raises
    ------
    UnknownRecord
        No such photo, or it was erased.
    NotAllowed
        It is not marked yet.
    """
    one = session.photo(position)
    if one.sha256 not in session.marks:
        raise NotAllowed("is not marked yet; the answer stays hidden until then", "Mark it first", one.name)
    shown = _shown(room, one, session.marks[one.sha256], model)
    for entry in _compared(room, session, one, shown):
        room.store.add_event(None, entry, session.person, at)
    return shown


def _taken(room: Room, name: str, source: bytes | str) -> PracticePhoto:
    """Keep a photo that is nowhere yet, once it was read."""
    data = room.photo_bytes(source) if isinstance(source, str) else source
    read = from_bytes(data, name, room.settings)
    if room.known(read.sha256) is None and not room.photos.has(read.sha256):
        room.own.put(data, read.format)
    return PracticePhoto(name=w.clean(read.name, "the photo's name", w.TITLE), sha256=read.sha256)


def _take(sessions: dict[int, Session], event: LoggedEvent) -> None:
    match event.entry:
        case PracticeStarted() as entry:
            sessions[event.number] = Session(event.number, event.person, event.at, entry.photos)
        case PracticeMarked() as entry if entry.session in sessions:
            sessions[entry.session].marks.setdefault(entry.photo_sha256, entry)
        case PracticeCompared() as entry if entry.session in sessions:
            sessions[entry.session].compared.setdefault((entry.photo_sha256, entry.against), entry)


def _shown(room: Room, one: PracticePhoto, marked: PracticeMarked, model: Model) -> Shown:
    seen = inspect(room.photo(one), model, room.settings)
    photo, surface, known = seen.photo, seen.surface, room.known(one.sha256)
    size = (photo.width, photo.height)
    mark = from_png(room.own.get(marked.mark_sha256), size, photo.rgb.shape[:2], f"the mark of {one.name}")
    tool = of_tool(seen)
    if known is None:
        return Shown(seen, differ(mark, tool, photo, surface), None, None)
    truth = of_truth(known.truth.states(), known.truth.ground(), surface.states.shape)
    of_its_own = differ(_as_mark(tool), truth, photo, surface)
    return Shown(seen, differ(mark, tool, photo, surface), differ(mark, truth, photo, surface), of_its_own)


def _as_mark(tool: Answer) -> Mark:
    return np.select([tool.residue, tool.unsure], [255, 128], 0).astype(np.uint8)


def _compared(room: Room, session: Session, one: PracticePhoto, shown: Shown) -> list[AnyEntry]:
    """Return the entries that are not in the log yet."""
    told = [
        (difference, _source(room, one, difference, shown)) for difference in (shown.tool, shown.truth) if difference
    ]
    return [
        _entry(session, one, difference, source, shown.inspection.origin.settings_sha256)
        for difference, source in told
        if (one.sha256, difference.against) not in session.compared
    ]


def _source(room: Room, one: PracticePhoto, difference: Difference, shown: Shown) -> tuple[str, str]:
    known, model = room.known(one.sha256), shown.inspection.origin.model
    if difference.against == "tool" or known is None:
        return f"prepcheck {__version__}, model {model.name}", model.sha256
    return f"prepcheck {__version__}, {known.origin}", hashlib.sha256(known.truth.states_path.read_bytes()).hexdigest()


def _entry(
    session: Session, one: PracticePhoto, d: Difference, source: tuple[str, str], settings_sha256: str
) -> PracticeCompared:
    both, only_marked, only_other, unsure = (
        int(np.count_nonzero(mask)) for mask in (d.both, d.only_marked, d.only_other, d.unsure)
    )
    other, marked = d.of("other"), d.of("marked")
    return PracticeCompared(
        session=session.number,
        photo_sha256=one.sha256,
        mark_sha256=session.marks[one.sha256].mark_sha256,
        against=d.against,
        source=source[0],
        source_sha256=source[1],
        settings_sha256=settings_sha256,
        both=both,
        only_marked=only_marked,
        only_other=only_other,
        neither=d.neither,
        unsure=unsure,
        mm2_per_px=d.mm2_per_px,
        least_px=d.least_px,
        patches=len(other),
        patches_found=sum(not patch.missed for patch in other),
        marked=len(marked),
        marked_off=sum(patch.missed for patch in marked),
    )
