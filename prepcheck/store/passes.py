"""Earlier passes of a spot in the log, and the flags that follow from them. Importing this loads SQLAlchemy."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from prepcheck.record import FlagRecord, Record, SinceLastPass
from prepcheck.store import tables as t
from prepcheck.store.rows import EarlierInspection
from prepcheck.store.words import folded, spot_label
from prepcheck.terms import FLAGS


def earlier_passes(
    connection: sa.Connection, job: str, spot: str, pass_no: int, *, unfit: bool = False
) -> list[EarlierInspection]:
    """Return the newest inspection of each earlier pass of a job's spot, oldest pass first.

    One that a later one corrects or that shows no outline is passed over, and so is one that was not fit to judge, but
    with `unfit` where its pass has no other. An unknown spot has none.
    """
    newest: dict[int, EarlierInspection] = {}
    for row in connection.execute(_inspections(job, spot, pass_no)):
        found = _earlier(row)
        before = newest.get(row.pass_no)
        if found is not None and (found.fit or (unfit and not (before and before.fit))):
            newest[row.pass_no] = found
    return [newest[number] for number in sorted(newest)]


def _earlier(row: Any) -> EarlierInspection | None:
    record = Record.model_validate_json(row.record)
    spots = record.spots if record.by_person is None else record.by_person.spots
    tied = next((one for one in spots if one.number == row.outline), None)
    since = None if row.told is None else SinceLastPass.model_validate_json(row.told)
    return None if tied is None else EarlierInspection(row.id, row.pass_no, row.at, record, tied, since)


def pass_flags(since: SinceLastPass | None) -> list[FlagRecord]:
    """Return the flags that follow from a comparison with earlier passes."""
    if since is None:
        return []
    if since.shares is None:
        return [_flag("not_compared", f"with inspection {since.inspection} of pass {since.pass_no}: {since.reason}")]
    if not since.persisting:
        return []
    most = max(patch.passes for patch in since.persisting)
    places = f"{len(since.persisting)} place" + ("" if len(since.persisting) == 1 else "s")
    return [_flag("residue_may_go_deep", f"{places}, seen in up to {most} passes")]


def _inspections(job: str, spot: str, pass_no: int) -> sa.Select[Any]:
    i, told, label = t.inspections, t.comparisons, spot_label(spot)
    later = i.alias()
    corrected = sa.exists().where(later.c.corrects == i.c.id)
    named = t.spots.c.number == label if isinstance(label, int) else t.spots.c.folded == folded(label)
    return (
        sa.select(i.c.id, i.c.at, i.c.outline, t.passes.c.pass_no, t.results.c.record, told.c.told)
        .select_from(
            i.join(t.passes).join(t.spots).join(t.jobs).join(t.results).outerjoin(told, told.c.inspection_id == i.c.id)
        )
        .where(t.jobs.c.number == job, named, t.passes.c.pass_no < pass_no, ~corrected)
        .order_by(i.c.id)
    )


def _flag(code: str, measured: str) -> FlagRecord:
    return FlagRecord(code=code, blocking=FLAGS[code].blocking, measured=measured)
