"""Use case: look at a photo, and log what was seen."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck.archive import Archive
from prepcheck.errors import PrepcheckError, WrongUse, printable
from prepcheck.inspection import Inspection, Outlines, inspect, settings_sha256
from prepcheck.outline_file import read_outlines
from prepcheck.photo import Photo, from_bytes, read_bytes
from prepcheck.record import BrokenRecord, Record, broken_record, record_of
from prepcheck.settings import Settings, load
from prepcheck.store import Logged
from prepcheck.store.words import job_number
from prepcheck.surface import Model, load_model
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

    def inspect(self, photo: Photo) -> Inspection:
        """Inspect a photo that was read."""
        return inspect(photo, self.model, self.settings, stated_mm_per_px=self.mm_per_px, outlines=self.outlines)

    @property
    def inputs_sha256(self) -> str:
        """SHA-256 (hex) of what the answer depends on beside photo, model and settings; empty for nothing."""
        if self.mm_per_px is None and self.outlines is None:
            return ""
        outlines = self.outlines or Outlines()
        drawn = [outline.tolist() for outline in outlines.drawn]
        told = [self.mm_per_px, self.outlines is not None, drawn, sorted(outlines.refused.items())]
        return hashlib.sha256(json.dumps(told).encode()).hexdigest()


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


def look_at(path: Path, look: Look, place: Place | None, at: datetime, *, keep_maps: bool = False) -> Looked:
    """Read, inspect and, when a place in the log is given, log one photo.

    Parameters
    ----------
    path : Path
        The photo.
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
    try:
        data = read_bytes(path, look.settings.photo.max_bytes)
        photo = from_bytes(data, path.name, look.settings, keep_position=look.keep_position)
        record = None if place is None or keep_maps else _from_log(photo, look, place.store)
        inspection = None if record is not None else look.inspect(photo)
    except PrepcheckError as error:
        return Looked(broken_record(printable(path.name), error.code, error.message), error)
    if record is None:
        assert inspection is not None
        record = record_of(inspection)
    if place is None:
        return Looked(record, None, inspection)
    return _logged(record, inspection, data, look, place, at)


def _from_log(photo: Photo, look: Look, store: Store) -> Record | None:
    """Return the answer of an earlier, equal computation."""
    return cached_result(
        store,
        photo.sha256,
        look.model.origin.sha256,
        settings_sha256(look.settings, look.model),
        look.inputs_sha256,
        name=printable(photo.name),
    )


def _logged(
    record: Record, inspection: Inspection | None, data: bytes, look: Look, place: Place, at: datetime
) -> Looked:
    try:
        logged = log_inspection(
            place.store,
            place.archive,
            record,
            data,
            job=place.job,
            spot=place.spot,
            pass_no=place.pass_no,
            person=place.person,
            at=at,
            outline_number=place.outline,
            inputs_sha256=look.inputs_sha256,
            note=place.note,
        )
    except PrepcheckError as error:
        return Looked(record, error, inspection)
    return Looked(logged.record, None, inspection, logged)
