"""Use case: look at a photo, a clip or a moved-light set, and log what was seen."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from prepcheck.archive import Archive
from prepcheck.errors import PrepcheckError, UnknownRecord, WrongUse, printable
from prepcheck.inspection import Inspection, Outlines, inspect, settings_sha256
from prepcheck.light_set import MOST_PHOTOS, inspect_set
from prepcheck.outline_file import read_outlines
from prepcheck.photo import Photo, from_bytes, read_bytes
from prepcheck.photo.clip import clip_bytes, clip_from_bytes, is_clip
from prepcheck.record import BrokenRecord, PhotoRecord, Record, SinceLastPass, broken_record, record_of
from prepcheck.settings import Settings, load
from prepcheck.store import Logged, StoreAddress
from prepcheck.store.words import clean, job_number
from prepcheck.surface import Model, load_model
from prepcheck.surface.moved_light import load_weighing
from prepcheck.tasks import cached_result, check_entry, log_inspection, open_log, tied_outline
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

    def inputs_sha256(self, photos: Sequence[Photo | PhotoRecord] = ()) -> str:
        """SHA-256 (hex) of what the answer depends on beside first photo, model and settings; empty for nothing.

        Of a set these are all photos in order, under their names, and the learned numbers that weigh them.
        """
        told: list[Any] = []
        if self.mm_per_px is not None or self.outlines is not None:
            outlines = self.outlines or Outlines()
            drawn = [outline.tolist() for outline in outlines.drawn]
            told = [self.mm_per_px, self.outlines is not None, drawn, sorted(outlines.refused.items())]
            told += [] if outlines.joint is None else [outlines.joint.points.tolist(), outlines.joint.margin_mm]
        if len(photos) > 1:
            weighing = load_weighing(self.model.origin.sha256)
            told += [[(photo.sha256, photo.name) for photo in photos], "" if weighing is None else weighing.sha256]
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
    corrects: int | None = None


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


def at_shop(look: Look, store: Store | StoreAddress | Path) -> Look:
    """Return how to look with the fit of the tool that holds in a store; as before where there is no store or no fit.

    A fit that cannot be used is told by a flag of each answer.

    Raises
    ------
    StoreFault
        There is a log, and it cannot be read.
    """
    from prepcheck.tasks.shop_fit import shop_model

    try:
        log = open_log(store, look.settings, create=False)[0] if isinstance(store, Path | StoreAddress) else store
    except UnknownRecord:
        return look
    return replace(look, model=shop_model(log, look.settings, look.model))


def place_in_log(
    folder: Path | StoreAddress | None,
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


@dataclass(frozen=True, eq=False)
class Sight:
    """What was seen in one input; `inspection` is None for an answer found in the log."""

    received: Received = field(repr=False)
    record: Record
    inspection: Inspection | None = field(default=None, repr=False)


@dataclass(frozen=True)
class Seen:
    """What goes into the log of one input: plain data, which another process can hand over.

    Parameters
    ----------
    record : Record
        The answer.
    outline : int or None
        Which outline is the job's spot; None without any.
    since : SinceLastPass or None
        What changed since an earlier pass.
    inputs_sha256 : str
        See `Look.inputs_sha256`.
    """

    record: Record
    outline: int | None
    since: SinceLastPass | None
    inputs_sha256: str


def check_set(paths: Sequence[Path]) -> None:
    """Check that photos can be one moved-light set, before any is read.

    Raises
    ------
    WrongUse
        There are fewer than 2 or more than 6, or a clip is among them.
    """
    if clips := [path for path in paths if is_clip(path)]:
        raise WrongUse("a clip is a set of its own", "Give it alone", clips[0].name, command="without --moved-light")
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
        sight = see(named, look, None if place is None else place.store, keep_maps=keep_maps)
    except PrepcheckError as error:
        return Looked(broken_record(printable(named[0].name), error.code, error.message), error)
    if place is None:
        return Looked(sight.record, None, sight.inspection)
    try:
        logged = log_seen(compare(sight, look, place), sight.received.files, place, at)
    except PrepcheckError as error:
        return Looked(sight.record, error, sight.inspection)
    return Looked(logged.record, None, sight.inspection, logged)


def see(
    paths: Sequence[Path],
    look: Look,
    store: Store | None,
    *,
    names: Sequence[str] | None = None,
    keep_maps: bool = False,
    told: Callable[[str], None] = lambda stage: None,
) -> Sight:
    """Read one photo, one clip or the photos of a set and inspect them; nothing is logged.

    Parameters
    ----------
    paths, look
        As in `look_at`.
    store : Store or None
        Where an earlier, equal answer may be found.
    names : sequence of str, optional
        Names of the photos where they are not those of the files.
    keep_maps : bool
        Whether the inspection itself is needed, so that an earlier answer will not do.
    told : callable
        Hears ``reading`` and ``looking`` as they begin.

    Raises
    ------
    BrokenInput, ModelFault
        A photo cannot be read or the model not be used.
    """
    told("reading")
    received = _receive(paths, names or [path.name for path in paths], look)
    told("looking")
    record = None if store is None or keep_maps else _from_log(received.photos, look, store)
    if record is not None:
        return Sight(received, record)
    inspection = look.inspect(received.photos)
    return Sight(received, record_of(inspection), inspection)


def compare(sight: Sight, look: Look, place: Place) -> Seen:
    """Find the job's spot in what was seen, by the earlier passes if there are any, and say what changed since.

    Raises
    ------
    ChooseOutline
        Several outlines, and nothing tells which of them is the spot.
    """
    outline, since = _since(sight.inspection, sight.received, look, place)
    inputs = look.inputs_sha256(sight.received.photos)
    return Seen(sight.record, tied_outline(sight.record, outline), since, inputs)


def log_seen(seen: Seen, files: Sequence[bytes], place: Place, at: datetime) -> Logged:
    """Log what was seen in exactly these `files`.

    Raises
    ------
    WrongUse, UnknownRecord, StoreFault
        See `prepcheck.tasks.log_inspection`; nothing was logged.
    """
    return log_inspection(
        place.store,
        place.archive,
        seen.record,
        files[0],
        job=place.job,
        spot=place.spot,
        pass_no=place.pass_no,
        person=place.person,
        at=at,
        outline_number=seen.outline,
        inputs_sha256=seen.inputs_sha256,
        note=place.note,
        corrects=place.corrects,
        more_bytes=files[1:],
        since=seen.since,
    )


def received(files: Sequence[bytes], names: Sequence[str], look: Look, *, clip: bool) -> Received:
    """Read the photos in the bytes of files: one or more photos, or one clip.

    The answer for a clip bears its name, so its first frame does.

    Raises
    ------
    BrokenInput
        One cannot be read.
    """
    if clip:
        first, *others = clip_from_bytes(files[0], names[0], look.settings)
        return Received((replace(first, name=names[0]), *others), tuple(files))
    photos = [
        from_bytes(*both, look.settings, keep_position=look.keep_position) for both in zip(files, names, strict=True)
    ]
    return Received(tuple(photos), tuple(files))


def _receive(paths: Sequence[Path], names: Sequence[str], look: Look) -> Received:
    clip = len(paths) == 1 and is_clip(paths[0])
    most = look.settings.photo.max_bytes
    files = [clip_bytes(path, look.settings) if clip else read_bytes(path, most) for path in paths]
    return received(files, names, look, clip=clip)


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
