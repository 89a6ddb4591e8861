"""Jobs and inspections: open, log, disagree, tell. Nothing here reads a clock or the surroundings."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck import __version__
from prepcheck.archive import Archive, open_archive
from prepcheck.errors import ChooseOutline, StoreFault, UnknownRecord, WrongUse
from prepcheck.record import Record, SinceLastPass, SpotRecord
from prepcheck.settings import Settings
from prepcheck.store import (
    Disagreement,
    Entry,
    Job,
    JobLine,
    Logged,
    NewJob,
    StoreAddress,
    Story,
    address_of,
    default_folder,
    open_store,
)
from prepcheck.store import words as w
from prepcheck.terms import Standing

if TYPE_CHECKING:
    from prepcheck.store.store import Store


def open_log(place: Path | StoreAddress | None, settings: Settings, *, create: bool = True) -> tuple[Store, Archive]:
    """Open the store at `place`, or in the user's data folder: its log, and its archive of photos.

    Raises
    ------
    UnknownRecord
        There is no log and `create` is off.
    StoreFault
        See `prepcheck.store.open_store`.
    """
    address = address_of(default_folder() if place is None else place)
    return open_store(address, settings.store, create=create), open_archive(address.folder)


def open_job(store: Store, new: NewJob, *, person: str, at: datetime) -> Job:
    """Open a job and give it a number.

    Raises
    ------
    WrongUse
        A text is too long, unprintable or missing, or the wall is no length in mm.
    """
    if new.wall_mm is not None and not (math.isfinite(new.wall_mm) and 0 < new.wall_mm <= 1000):
        raise WrongUse("the wall must be above 0 and at most 1000 mm", "Give its thickness in mm", str(new.wall_mm))
    checked = replace(
        new,
        title=w.clean(new.title, "the title", w.TITLE),
        part=w.clean(new.part, "the part", w.TITLE, needed=False),
        alloy=w.clean(new.alloy, "the alloy", needed=False),
        previous_contents=w.clean(new.previous_contents, "the previous contents", w.TITLE, needed=False),
        customer_reference=w.clean(new.customer_reference, "the customer reference", needed=False),
    )
    return store.open_job(checked, _person(person), at)


def list_jobs(
    store: Store, *, standing: str | None = None, newest: int | None = None, before: str | None = None
) -> list[JobLine]:
    """Return jobs, newest first.

    Parameters
    ----------
    store : Store
        From `open_log`.
    standing : str, optional
        Only jobs whose newest inspection has this standing.
    newest : int, optional
        At most so many.
    before : str, optional
        Only jobs opened before this one.

    Raises
    ------
    WrongUse
        No such standing, or a count below 1.
    UnknownRecord
        No such job.
    """
    if newest is not None and not 1 <= newest <= MOST_JOBS:
        raise WrongUse(f"a count of jobs goes from 1 to {MOST_JOBS:,}", "Give another", str(newest))
    word = None if standing is None else _standing(standing)
    return store.jobs(word, newest=newest, before=None if before is None else w.job_number(before))


MOST_JOBS = 1_000_000
"""Most jobs that can be asked for by count."""


def job_story(store: Store, number: str, spot: str | None = None) -> Story:
    """Return everything logged in a job, or on one `spot` of it (its number or name).

    Raises
    ------
    UnknownRecord
        No such job, or no such spot in it.
    """
    story = store.story(w.job_number(number))
    if spot is None:
        return story
    label = w.spot_label(spot)
    same = [one for one in story.spots if label == one.number or w.folded(str(label)) == w.folded(one.name)]
    if not same:
        known = ", ".join(str(one.number) + (f" {one.name}" if one.name else "") for one in story.spots) or "none yet"
        raise UnknownRecord(f"no such spot in {story.job.number}", f"Known: {known}", str(label))
    return replace(story, spots=tuple(same))


def log_inspection(
    store: Store,
    archive: Archive,
    record: Record,
    photo_bytes: bytes,
    *,
    job: str,
    spot: str,
    pass_no: int,
    person: str,
    at: datetime,
    outline_number: int | None = None,
    inputs_sha256: str = "",
    note: str = "",
    corrects: int | None = None,
    more_bytes: Sequence[bytes] = (),
    since: SinceLastPass | None = None,
) -> Logged:
    """Log the answer for a photo or a moved-light set: all bytes into the archive, then all rows in one transaction.

    Parameters
    ----------
    store, archive : Store, Archive
        From `open_log`.
    record : Record
        The answer for exactly these bytes.
    photo_bytes : bytes
        As received; of a clip, the clip's.
    job, spot, pass_no, person, at
        The job's number, the spot's number or name on it, the grinding pass (1..99), who answers, when.
    outline_number : int, optional
        The outline that is the job's spot; needed when the photo shows several. The others are logged as not assigned.
    inputs_sha256 : str
        Hash of what else the answer depends on (drawn outlines, stated scale); empty for nothing.
    note, corrects
        Anything the person adds, and the older inspection of this job that this one corrects.
    more_bytes : sequence of bytes
        Of the other photos of a set.
    since : SinceLastPass, optional
        What changed since an earlier pass of the spot.

    Raises
    ------
    UnknownRecord
        No such job, or no such inspection to correct in it.
    WrongUse
        A text or number that cannot be logged, or several outlines and none named.
    StoreFault
        Nothing was logged.
    """
    entry = Entry(
        record=record,
        job=w.job_number(job),
        spot=w.clean(spot, "the spot"),
        pass_no=w.checked_pass_no(pass_no),
        person=_person(person),
        at=at,
        outline=tied_outline(record, outline_number),
        inputs_sha256=inputs_sha256,
        note=w.clean(note, "the note", w.NOTE, needed=False),
        corrects=corrects,
        since=since,
    )
    check_entry(spot=spot, pass_no=pass_no, person=person, note=note)
    store.check_job(entry.job)
    _keep(archive, record, [photo_bytes, *more_bytes])
    return store.log(entry)


def _keep(archive: Archive, record: Record, files: list[bytes]) -> None:
    """Put into the archive exactly the bytes that the record belongs to."""
    formats = {photo.sha256: photo.format for photo in record.photos or [record.photo]}
    found = {hashlib.sha256(data).hexdigest(): data for data in files}
    if found.keys() != formats.keys():
        raise StoreFault("its record belongs to other bytes; nothing was logged", "Inspect it again", record.photo.name)
    for sha256, data in found.items():
        archive.put(data, formats[sha256])


def check_entry(*, spot: str, pass_no: int, person: str, note: str = "") -> None:
    """Check what a person says of a log entry; `WrongUse` tells what cannot be logged."""
    w.spot_label(spot)
    w.checked_pass_no(pass_no)
    _person(person)
    w.clean(note, "the note", w.NOTE, needed=False)


def tied_outline(record: Record, asked: int | None) -> int | None:
    """Return the number of the outline that is the job's spot: the only one or the one asked for, None without any.

    Raises
    ------
    ChooseOutline
        Several outlines and none asked for.
    WrongUse
        One that the photo does not have.
    """
    spots: list[SpotRecord] = record.spots if record.by_person is None else record.by_person.spots
    numbers = [spot.number for spot in spots]
    if not numbers:
        return None
    have = ", ".join(map(str, numbers))
    if asked is None and len(numbers) > 1:
        raise ChooseOutline(
            f"shows outlines {have}", "Say which is the job's spot", record.photo.name, command="--outline"
        )
    if asked is not None and asked not in numbers:
        raise WrongUse(
            f"has no outline {asked}, only {have}", "Choose one of these", record.photo.name, command="--outline"
        )
    return numbers[0] if asked is None else asked


def cached_result(
    store: Store, photo_sha256: str, model_sha256: str, settings_sha256: str, inputs_sha256: str = "", *, name: str = ""
) -> Record | None:
    """Return the logged answer of this version of prepcheck with exactly this origin, under the file name `name`.

    None when there is none. Flags that the log raises and the position are no part of it.
    """
    record = store.cached(
        photo_sha256=photo_sha256,
        version=__version__,
        model_sha256=model_sha256,
        settings_sha256=settings_sha256,
        inputs_sha256=inputs_sha256,
    )
    if record is None or not name:
        return record
    photo = record.photo.model_copy(update={"name": name})
    return record.model_copy(update={"photo": photo})


def disagree(store: Store, inspection: int, *, standing: str, reason: str, person: str, at: datetime) -> Disagreement:
    """Log a person's own standing, with the reason, beside the tool's answer.

    Raises
    ------
    UnknownRecord
        No such inspection.
    WrongUse
        `standing` is none of the four words, or a text cannot be logged.
    """
    word = _standing(standing)
    said = w.clean(reason, "the reason", w.NOTE)
    return store.disagree(Disagreement(inspection, _person(person), word, said, w.stamp(at)))


def _standing(text: str) -> Standing:
    word = w.clean(text, "the standing").lower()
    if word not in list(Standing):
        raise WrongUse("is no standing", f"Use one of: {', '.join(Standing)}", word)
    return Standing(word)


def _person(name: str) -> str:
    return w.clean(name, "the person's name")
