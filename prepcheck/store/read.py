"""Reads the log. Importing this loads SQLAlchemy."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

import sqlalchemy as sa

from prepcheck.record import FlagRecord, Record, SinceLastPass
from prepcheck.store import tables as t
from prepcheck.store.append import inspection_id_of, job_id_of, standing_spots
from prepcheck.store.events import read_events
from prepcheck.store.job_lines import job_of, jobs_with
from prepcheck.store.leaves import canonical
from prepcheck.store.rows import Disagreement, LoggedInspection, PassStory, SpotStory, Story
from prepcheck.terms import Standing

_AT_ONCE = 500
"""Inspections asked for in one query: SQLite took no more than 999 values for long."""


def cached_record(connection: sa.Connection, **key: str) -> Record | None:
    """Return the newest answer with exactly this origin (columns of ``results``), or None."""
    query = sa.select(t.results.c.record).filter_by(**key).order_by(t.results.c.id.desc()).limit(1)
    text = connection.scalar(query)
    return None if text is None else Record.model_validate_json(text)


def record_text(connection: sa.Connection, inspection: int) -> str:
    """Return the record that an inspection logged, as canonical JSON: its SHA-256 is the leaf's ``record_sha256``."""
    i = t.inspections
    query = sa.select(t.results.c.record).select_from(i.join(t.results))
    return canonical(
        json.loads(connection.scalars(query.where(i.c.id == inspection_id_of(connection, inspection))).one())
    )


def record_texts(connection: sa.Connection, inspections: Sequence[int]) -> Iterator[tuple[int, str]]:
    """Yield the records that inspections logged, as JSON, with the inspection's number, in no order."""
    i = t.inspections
    query = sa.select(i.c.id, t.results.c.record).select_from(i.join(t.results))
    for start in range(0, len(inspections), _AT_ONCE):
        rows = connection.execute(query.where(i.c.id.in_(inspections[start : start + _AT_ONCE])))
        yield from ((row.id, row.record) for row in rows)


def story(connection: sa.Connection, number: str) -> Story:
    """Return everything logged in a job, in order of spot, pass and time; an unknown one is an `UnknownRecord`."""
    job_id = job_id_of(connection, number)
    job = connection.execute(jobs_with().where(t.jobs.c.id == job_id)).one()
    beside = _Beside(connection, job_id)
    rows = connection.execute(_inspections(job_id)).all()
    spots = tuple(
        SpotStory(spot, name, _passes(list(of_spot), beside))
        for (spot, name), of_spot in groupby(rows, key=lambda row: (row.spot, row.spot_name))
    )
    return Story(job_of(job), spots, read_events(connection, number))


class _Beside:
    """What lies beside the inspections of a job, by inspection: outlines, photos, corrections and so on."""

    def __init__(self, connection: sa.Connection, job_id: int) -> None:
        i = t.inspections
        of_job = sa.select(i.c.id).select_from(i.join(t.passes).join(t.spots)).where(t.spots.c.job_id == job_id)
        self.outlines = _by_inspection(
            connection.execute(
                sa.select(t.outlines).where(t.outlines.c.inspection_id.in_(of_job)).order_by(t.outlines.c.id)
            )
        )
        d = t.disagreements
        self.disagreements = _by_inspection(
            connection.execute(
                sa.select(d, t.people.c.name.label("person"))
                .select_from(d.join(t.people))
                .where(d.c.inspection_id.in_(of_job))
                .order_by(d.c.id)
            )
        )
        shown = sa.select(t.inspection_photos).where(t.inspection_photos.c.inspection_id.in_(of_job))
        self.photos = _by_inspection(connection.execute(shown.order_by(t.inspection_photos.c.position)))
        compared = sa.select(t.comparisons).where(t.comparisons.c.inspection_id.in_(of_job))
        self.comparisons = _by_inspection(connection.execute(compared))
        corrections = sa.select(i.c.id, i.c.corrects.label("inspection_id")).where(i.c.corrects.in_(of_job))
        self.corrections = _by_inspection(connection.execute(corrections.order_by(i.c.id)))


def _by_inspection(rows: Any) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.inspection_id].append(row)
    return found


def _inspections(job_id: int) -> sa.Select[Any]:
    i = t.inspections
    return (
        sa.select(
            *(i.c[name] for name in ("id", "at", "photo_name", "photo_sha256", "outline", "note", "flags", "corrects")),
            t.people.c.name.label("person"),
            t.spots.c.number.label("spot"),
            t.spots.c.name.label("spot_name"),
            t.passes.c.pass_no,
            t.results.c.record,
        )
        .select_from(i.join(t.passes).join(t.spots).join(t.people).join(t.results))
        .where(t.spots.c.job_id == job_id)
        .order_by(t.spots.c.number, t.passes.c.pass_no, i.c.id)
    )


def _passes(rows: list[Any], beside: _Beside) -> tuple[PassStory, ...]:
    return tuple(
        PassStory(pass_no, tuple(_inspection(row, beside) for row in of_pass))
        for pass_no, of_pass in groupby(rows, key=lambda row: row.pass_no)
    )


def _inspection(row: Any, beside: _Beside) -> LoggedInspection:
    record = Record.model_validate_json(row.record)
    spot = next((spot for spot in standing_spots(record) if spot.number == row.outline), None)
    answer = spot or record.by_person or record
    outlines = beside.outlines[row.id]
    return LoggedInspection(
        number=row.id,
        at=row.at,
        person=row.person,
        photo_name=row.photo_name,
        photo_sha256=row.photo_sha256,
        taken=record.photo.taken,
        outline=row.outline,
        not_assigned=tuple(o.number for o in outlines if o.spot_id is None and o.refused is None),
        standing=answer.standing,
        tool_standing=record.standing,
        bright_share=answer.bright_share,
        interval=answer.interval,
        reason="" if spot is None else spot.reason,
        flags=(*record.flags, *(FlagRecord(**flag) for flag in json.loads(row.flags))),
        refused={o.number: o.refused for o in outlines if o.refused is not None},
        drawn=tuple(o.number for o in outlines if o.outlined_by == "person"),
        note=row.note,
        corrects=row.corrects,
        corrected_by=tuple(c.id for c in beside.corrections[row.id]),
        disagreements=tuple(_disagreement(d) for d in beside.disagreements[row.id]),
        origin=f"prepcheck {record.origin.version}, {record.origin.model}",
        photos=tuple(photo.name for photo in beside.photos[row.id]),
        since=next((SinceLastPass.model_validate_json(one.told) for one in beside.comparisons[row.id]), None),
    )


def _disagreement(row: Any) -> Disagreement:
    return Disagreement(row.inspection_id, row.person, Standing(row.standing), row.reason, row.at)
