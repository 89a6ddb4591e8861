"""Adds rows to the log, inside the caller's transaction. Importing this loads SQLAlchemy."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from prepcheck.errors import UnknownRecord, WrongUse, printable
from prepcheck.record import FlagRecord, PhotoRecord, Record, SinceLastPass, SpotRecord
from prepcheck.store import tables as t
from prepcheck.store.insert import insert
from prepcheck.store.job_lines import move_job_line, move_person_line
from prepcheck.store.leaves import add_leaf
from prepcheck.store.passes import pass_flags
from prepcheck.store.rows import Disagreement, Entry, Job, Logged, NewJob
from prepcheck.store.used import log_flags
from prepcheck.store.words import folded, number_of, spot_label, stamp

LOG_FLAGS = ("used_before", "looks_used_before", "residue_may_go_deep", "not_compared")
"""Flags that the log raises: they say something of the log, so they are no part of a photo's answer."""


def add_job(connection: sa.Connection, new: NewJob, person: str, at: datetime) -> Job:
    """Open a job under the next free number."""
    count = connection.scalar(sa.select(sa.func.coalesce(sa.func.max(t.jobs.c.id), 0))) or 0
    opener, name = person_of(connection, person)
    told: dict[str, Any] = {**vars(new), "number": number_of(count + 1), "opened_at": stamp(at)}
    add_leaf(connection, "job", insert(connection, t.jobs, **told, opened_by=opener))
    return Job(**told, opened_by=name)


def add_inspection(connection: sa.Connection, entry: Entry, near_bits: int) -> Logged:
    """Log the answer for a photo or a moved-light set with all its rows."""
    job_id = job_id_of(connection, entry.job)
    spot_id, spot = _spot(connection, job_id, entry.spot)
    pass_id = _pass(connection, spot_id, entry.pass_no)
    corrects = None if entry.corrects is None else inspection_id_of(connection, entry.corrects, job_id)
    record = kept(entry.record)
    photos = record.photos or [record.photo]
    flags = [*log_flags(connection, photos, pass_id, near_bits, corrects), *pass_flags(entry.since)]
    for photo in photos:
        _photo(connection, photo)
    person_id, _ = person_of(connection, entry.person)
    number = insert(
        connection,
        t.inspections,
        pass_id=pass_id,
        person_id=person_id,
        photo_sha256=record.photo.sha256,
        result_id=_result(connection, record, entry),
        photo_name=record.photo.name,
        outline=entry.outline,
        at=stamp(entry.at),
        note=entry.note,
        flags=json.dumps([flag.model_dump() for flag in flags]),
        corrects=corrects,
    )
    _photos_of(connection, number, photos)
    _comparison(connection, number, entry.since)
    others = _outlines(connection, number, record, entry.outline, spot_id)
    move_job_line(connection, job_id, number)
    move_person_line(connection, person_id, job_id, number)
    add_leaf(connection, "inspection", number)
    told = with_log(record, flags, entry.since)
    return Logged(number, entry.job, spot, entry.pass_no, entry.outline, others, told)


def add_disagreement(connection: sa.Connection, told: Disagreement) -> Disagreement:
    """Log a person's own standing beside the tool's answer."""
    inspection_id_of(connection, told.inspection)
    person_id, name = person_of(connection, told.person)
    row = insert(
        connection,
        t.disagreements,
        inspection_id=told.inspection,
        person_id=person_id,
        standing=told.standing.value,
        reason=told.reason,
        at=told.at,
    )
    add_leaf(connection, "disagreement", row)
    return Disagreement(told.inspection, name, told.standing, told.reason, told.at)


def kept(record: Record) -> Record:
    """Return what the log keeps of a record: no position, nothing that the log itself says, printable names."""
    flags = [flag for flag in record.flags if flag.code not in LOG_FLAGS]
    told: dict[str, Any] = {"photo": _kept(record.photo), "photos": [_kept(photo) for photo in record.photos]}
    return record.model_copy(update={**told, "flags": flags, "since_last_pass": None})


def _kept(photo: PhotoRecord) -> PhotoRecord:
    return photo.model_copy(update={"position": None, "name": printable(photo.name)})


def with_log(record: Record, flags: list[FlagRecord], since: SinceLastPass | None) -> Record:
    """Return the record with what the log says: its flags after the record's own, and what changed since."""
    return record.model_copy(update={"flags": [*record.flags, *flags], "since_last_pass": since})


def standing_spots(record: Record) -> list[SpotRecord]:
    """Return the spots that stand: with what a person drew and refused, if anything."""
    return record.spots if record.by_person is None else record.by_person.spots


def job_id_of(connection: sa.Connection, number: str) -> int:
    """Return the row of a job; an unknown one is an `UnknownRecord`."""
    found = connection.scalar(sa.select(t.jobs.c.id).where(t.jobs.c.number == number))
    if found is None:
        raise UnknownRecord(
            "no such job in this log",
            "Choose one of the jobs of this log",
            number,
            command="prepcheck job list, --store",
        )
    return int(found)


def inspection_id_of(connection: sa.Connection, number: int, job_id: int | None = None) -> int:
    """Return the row of an inspection, of job `job_id` if given; an unknown one is an `UnknownRecord`."""
    query = sa.select(t.spots.c.job_id).select_from(t.inspections.join(t.passes).join(t.spots))
    found = connection.scalar(query.where(t.inspections.c.id == number)) if 0 < number < 2**63 else None
    if found is None or job_id not in (None, found):
        where = "in this log" if job_id is None else "in this job"
        raise UnknownRecord(
            f"no such inspection {where}",
            "Look at the job's inspections",
            f"inspection {number}",
            command="prepcheck job show",
        )
    return number


def _find_or_add(connection: sa.Connection, table: sa.Table, by: dict[str, Any], **more: Any) -> int:
    found = connection.scalar(sa.select(table.c.id).filter_by(**by))
    return insert(connection, table, **by, **more) if found is None else int(found)


def person_of(connection: sa.Connection, name: str) -> tuple[int, str]:
    """Return row and name of a person, as first written and added on first use; names that differ only in case are one."""
    found = connection.execute(
        sa.select(t.people.c.id, t.people.c.name).where(t.people.c.folded == folded(name))
    ).first()
    if found is not None:
        return found.id, found.name
    row = insert(connection, t.people, name=name, folded=folded(name))
    add_leaf(connection, "person", row)
    return row, name


def _spot(connection: sa.Connection, job_id: int, text: str) -> tuple[int, int]:
    """Return row and number of a job's spot, made on first use."""
    label = spot_label(text)
    if isinstance(label, int):
        return _find_or_add(connection, t.spots, {"job_id": job_id, "number": label}, name="", folded=None), label
    query = sa.select(t.spots.c.number, t.spots.c.id).where(t.spots.c.job_id == job_id)
    found = connection.execute(query.where(t.spots.c.folded == folded(label))).first()
    if found is not None:
        return found.id, found.number
    number = max((row.number for row in connection.execute(query)), default=0) + 1
    if number > 999:
        raise WrongUse("the job has no free spot number up to 999", "Open another job", label)
    return insert(connection, t.spots, job_id=job_id, number=number, name=label, folded=folded(label)), number


def _pass(connection: sa.Connection, spot_id: int, pass_no: int) -> int:
    return _find_or_add(connection, t.passes, {"spot_id": spot_id, "pass_no": pass_no})


def _photo(connection: sa.Connection, photo: PhotoRecord) -> None:
    if connection.scalar(sa.select(t.photos.c.sha256).where(t.photos.c.sha256 == photo.sha256)) is None:
        columns = {name: getattr(photo, name) for name in t.photos.c.keys()}  # noqa: SIM118
        connection.execute(sa.insert(t.photos).values(columns))


def _photos_of(connection: sa.Connection, inspection: int, photos: list[PhotoRecord]) -> None:
    for position, photo in enumerate(photos, start=1):
        row = {"inspection_id": inspection, "position": position, "photo_sha256": photo.sha256, "name": photo.name}
        insert(connection, t.inspection_photos, **row)


def _comparison(connection: sa.Connection, inspection: int, since: SinceLastPass | None) -> None:
    if since is not None:
        told = {"earlier_id": inspection_id_of(connection, since.inspection), "told": since.model_dump_json()}
        insert(connection, t.comparisons, inspection_id=inspection, **told)


def _result(connection: sa.Connection, record: Record, entry: Entry) -> int:
    text = record.model_dump_json()
    same = {"record_sha256": hashlib.sha256(text.encode()).hexdigest(), "inputs_sha256": entry.inputs_sha256}
    return _find_or_add(
        connection,
        t.results,
        same,
        photo_sha256=record.photo.sha256,
        version=record.origin.version,
        model_sha256=record.origin.model_sha256,
        settings_sha256=record.origin.settings_sha256,
        standing=record.standing.value,
        score=record.score,
        record=text,
        computed_at=stamp(entry.at),
    )


def _outlines(
    connection: sa.Connection, inspection: int, record: Record, tied: int | None, spot_id: int
) -> tuple[int, ...]:
    """Log every outline, the tool's and the person's; return the numbers of those that stand but are not assigned."""
    person = record.by_person
    refused = {} if person is None else person.refused
    standing = {spot.number: spot for spot in standing_spots(record)}
    for number, spot in ({spot.number: spot for spot in record.spots} | standing).items():
        insert(
            connection,
            t.outlines,
            inspection_id=inspection,
            number=number,
            outlined_by=spot.outlined_by,
            standing=spot.standing.value,
            spot_id=spot_id if number == tied else None,
            refused=refused.get(number),
            points=json.dumps(spot.outline),
        )
    return tuple(sorted(set(standing) - {tied}))
