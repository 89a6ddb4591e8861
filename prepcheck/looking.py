"""Use case: look at a photo, a clip or a moved-light set, and log what was seen."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from prepcheck.archive import Archive
from prepcheck.errors import PrepcheckError, WrongUse, printable
from prepcheck.inspection import Inspection, Outlines, inspect, settings_sha256
from prepcheck.light_set import MOST_PHOTOS, inspect_set
from prepcheck.outline_file import read_outlines
from prepcheck.photo import Photo, from_bytes, read_bytes
from prepcheck.photo.clip import clip_bytes, clip_from_bytes, is_clip
from prepcheck.record import BrokenRecord, Record, SinceLastPass, broken_record, record_of
from prepcheck.settings import Settings, load
from prepcheck.store import Logged
from prepcheck.store.words import clean, job_number
from prepcheck.surface import Model, load_model
from prepcheck.surface.moved_light import load_fusion
from prepcheck.tasks import cached_result, check_entry, log_inspection, open_log
from prepcheck.terms import Standing

if TYPE_CHECKING:
    from prepcheck.store.store import Store


@dataclass(frozen=True)
class Look:
    """How to look at each photo of a call.

    Parameters
    ----------
    settings, model : Settings, Model
        Thresholds and the loaded model.
    mm_per_px : float, optional
        A stated scale.
    outlines : Outlines, optional
        What a person drew or refused.
    keep_position : bool
        Whether to keep where the photo was taken.
    """

    settings: Settings
    model: Model
    mm_per_px: float | None = None
    outlines: Outlines | None = None
    keep_position: bool = False

    def inspect(self, photos: Sequence[Photo]) -> Inspection:
        """Inspect a photo that was read, or several as one moved-light set."""
        if len(photos) == 1:
            return inspect(
                photos[0], self.model, self.settings, stated_mm_per_px=self.mm_per_px, outlines=self.outlines
            )
        return inspect_set(photos, self.model, self.settings, stated_mm_per_px=self.mm_per_px, outlines=self.outlines)

    def inputs_sha256(self, photos: Sequence[Photo] = ()) -> str:
        """SHA-256 (hex) of what the answer depends on beside first photo, model and settings; empty for nothing.

        Of a set these are all photos in order, under their names, and the learned numbers that weigh them.
        """
        told: list[Any] = []
        if self.mm_per_px is not None or self.outlines is not None:
            outlines = self.outlines or Outlines()
            drawn = [outline.tolist() for outline in outlines.drawn]
            told = [self.mm_per_px, self.outlines is not None, drawn, sorted(outlines.refused.items())]
            told += [] if outlines.joint is None else [outlines.joint.points.tolist()]
        if len(photos) > 1:
            fusion = load_fusion()
            told += [[(photo.sha256, photo.name) for photo in photos], "" if fusion is None else fusion.sha256]
        return hashlib.sha256(json.dumps(told).encode()).hexdigest() if told else ""


@dataclass(frozen=True)
class Place:
    """Where in the log a photo belongs: job, spot on it, grinding pass, who answers, and which outline is the spot."""

    store: Store = field(repr=False)
    archive: Archive = field(repr=False)
    job: str
    spot: str
    pass_no: int
    person: str
    outline: int | None = None
    note: str = ""


@dataclass(frozen=True, eq=False)
class Looked:
    """The answer for one input.

    Parameters
    ----------
    line : Record or BrokenRecord
        What is printed. When only the log failed, it is the answer all the same.
    error : PrepcheckError or None
        What went wrong with the photo, the model or the log.
    inspection : Inspection or None
        What is behind the record; None for a broken input and for an answer found in the log.
    logged : Logged or None
        Where it was logged.
    """

    line: Record | BrokenRecord
    error: PrepcheckError | None = None
    inspection: Inspection | None = field(default=None, repr=False)
    logged: Logged | None = None

    @property
    def exit_code(self) -> int:
        """0 every spot bright, 1 a person is needed, else that of the error."""
        if self.error is not None:
            return self.error.exit_code
        assert isinstance(self.line, Record)
        standings = [self.line.standing, *([self.line.by_person.standing] if self.line.by_person else [])]
        return 0 if all(standing is Standing.BRIGHT for standing in standings) else 1


def prepare(
    *,
    settings_file: Path | None = None,
    model_name: str | None = None,
    mm_per_px: float | None = None,
    outline_file: Path | None = None,
    keep_position: bool = False,
    photos: int = 1,
) -> Look:
    """Check all that a call says of its `photos` photos and load the model, before any work starts.

    Raises
    ------
    BadSettings, BadOutlines, WrongUse, ModelFault
        Whatever cannot be used.
    """
    if mm_per_px is not None and not 1e-4 <= mm_per_px <= 100:
        raise WrongUse("--mm-per-px must lie between 0.0001 and 100", "State millimetres per pixel of the full photo")
    if outline_file is not None and photos > 1:
        raise WrongUse("outlines belong to one photo", "Inspect the photos one by one", str(outline_file))
    settings = load(settings_file)
    outlines = None if outline_file is None else read_outlines(outline_file)
    return Look(settings, load_model(model_name), mm_per_px, outlines, keep_position)


def place_in_log(
    folder: Path | None,
    settings: Settings,
    *,
    job: str | None,
    spot: str | None,
    pass_no: int | None,
    person: str | None,
    outline: int | None = None,
    note: str = "",
) -> Place | None:
    """Open the log where the photos of a call belong; None when no job is named.

    Raises
    ------
    WrongUse
        Only a part of job, spot, pass and person is named, or one of them cannot be logged.
    UnknownRecord
        No such job, or no log.
    StoreFault
        The log cannot be opened.
    """
    needed = {"--job": job, "--spot": spot, "--pass-no": pass_no, "--person": person}
    missing = [name for name, value in needed.items() if value is None]
    if len(missing) == len(needed) and outline is None and not note:
        return None
    if job is None or spot is None or pass_no is None or person is None:
        raise WrongUse(f"a log entry needs {', '.join(missing)} too", "Name all of --job --spot --pass-no --person")
    check_entry(spot=spot, pass_no=pass_no, person=person, note=note)
    store, archive = open_log(folder, settings, create=False)
    store.check_job(job_number(job))
    return Place(store, archive, job, spot, pass_no, person, outline, note)


@dataclass(frozen=True, eq=False)
class Received:
    """The photos of one input, and the bytes that they came in: one file each, or one clip."""

    photos: tuple[Photo, ...]
    files: tuple[bytes, ...] = field(repr=False)


def check_set(paths: Sequence[Path]) -> None:
    """Check that photos can be one moved-light set, before any is read.

    Raises
    ------
    WrongUse
        There are fewer than 2 or more than 6, or a clip is among them.
    """
    if clips := [path for path in paths if is_clip(path)]:
        raise WrongUse("a clip is a set of its own", "Give it without --moved-light", clips[0].name)
    if not 2 <= len(paths) <= MOST_PHOTOS:
        raise WrongUse(
            f"a moved-light set has 2 to {MOST_PHOTOS} photos, not {len(paths)}",
            "Take photos of one view with the torch in different places",
        )


def look_at(
    paths: Path | Sequence[Path], look: Look, place: Place | None, at: datetime, *, keep_maps: bool = False
) -> Looked:
    """Read, inspect and, when a place in the log is given, log one photo, one clip, or one moved-light set.

    Parameters
    ----------
    paths : Path or sequence of Path
        The photo or clip, or the photos of a set.
    look : Look
        How to look.
    place : Place or None
        Where it belongs in the log.
    at : datetime
        Now, with time zone.
    keep_maps : bool
        Whether the inspection itself is needed (for picture and maps), not just its record.

    Returns
    -------
    Looked
        A file that cannot be read and a log that cannot be written are told in it, not raised.
    """
    named = [paths] if isinstance(paths, Path) else list(paths)
    try:
        received = _receive(named, look)
        record = None if place is None or keep_maps else _from_log(received.photos, look, place.store)
        inspection = None if record is not None else look.inspect(received.photos)
    except PrepcheckError as error:
        return Looked(broken_record(printable(named[0].name), error.code, error.message), error)
    if record is None:
        assert inspection is not None
        record = record_of(inspection)
    if place is None:
        return Looked(record, None, inspection)
    return _logged(record, inspection, received, look, place, at)


def _receive(paths: Sequence[Path], look: Look) -> Received:
    if len(paths) == 1 and is_clip(paths[0]):
        return _clip(paths[0], look.settings)
    files = tuple(read_bytes(path, look.settings.photo.max_bytes) for path in paths)
    names = [path.name for path in paths]
    photos = [
        from_bytes(*both, look.settings, keep_position=look.keep_position) for both in zip(files, names, strict=True)
    ]
    return Received(tuple(photos), files)


def _clip(path: Path, settings: Settings) -> Received:
    """Read a clip; the answer bears its name, so its first frame does."""
    data = clip_bytes(path, settings)
    first, *others = clip_from_bytes(data, path.name, settings)
    return Received((replace(first, name=path.name), *others), (data,))


def _from_log(photos: Sequence[Photo], look: Look, store: Store) -> Record | None:
    """Return the answer of an earlier, equal computation."""
    return cached_result(
        store,
        photos[0].sha256,
        look.model.origin.sha256,
        settings_sha256(look.settings, look.model),
        look.inputs_sha256(photos),
        name=printable(photos[0].name),
    )


def _logged(
    record: Record, inspection: Inspection | None, received: Received, look: Look, place: Place, at: datetime
) -> Looked:
    try:
        outline, since = _since(inspection, received, look, place)
        logged = log_inspection(
            place.store,
            place.archive,
            record,
            received.files[0],
            job=place.job,
            spot=place.spot,
            pass_no=place.pass_no,
            person=place.person,
            at=at,
            outline_number=outline,
            inputs_sha256=look.inputs_sha256(received.photos),
            note=place.note,
            more_bytes=received.files[1:],
            since=since,
        )
    except PrepcheckError as error:
        return Looked(record, error, inspection)
    return Looked(logged.record, None, inspection, logged)


def _since(
    inspection: Inspection | None, received: Received, look: Look, place: Place
) -> tuple[int | None, SinceLastPass | None]:
    """Compare with the earlier passes of the spot, if there are any."""
    earlier = place.store.earlier_passes(job_number(place.job), clean(place.spot, "the spot"), place.pass_no)
    if not earlier:
        return place.outline, None
    from prepcheck.passes import since_last_pass

    seen = look.inspect(received.photos) if inspection is None else inspection
    return since_last_pass(seen, place.outline, earlier, place.archive, look.model, look.settings)
