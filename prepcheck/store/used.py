"""Says when a photo was used before, to the byte or nearly."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from prepcheck.record import FlagRecord, PhotoRecord
from prepcheck.store import tables as t
from prepcheck.terms import FLAGS


def log_flags(
    connection: sa.Connection, photo: PhotoRecord, pass_id: int, near_bits: int, corrects: int | None
) -> list[FlagRecord]:
    """Return the flags of a photo that is logged for another spot or pass already.

    Two photos of one pass may look alike, and an inspection may correct the one it points to; neither is flagged.
    """
    elsewhere = _elsewhere(pass_id, corrects)
    same = connection.execute(elsewhere.where(t.inspections.c.photo_sha256 == photo.sha256).limit(1)).first()
    if same is not None:
        return [_flag("used_before", f"the same bytes as {_place(same)}")]
    near = _nearest(connection, elsewhere, photo.picture_hash)
    if near is not None and near[0] <= near_bits:
        return [_flag("looks_used_before", f"{near[0]} of 64 bits differ from {_place(near[1])}")]
    return []


def hash_distance(a: str, b: str) -> int:
    """Count the bits in which two picture hashes (hex) differ."""
    return (int(a, 16) ^ int(b, 16)).bit_count()


def _elsewhere(pass_id: int, corrects: int | None) -> sa.Select[Any]:
    return (
        sa.select(t.inspections.c.id, t.jobs.c.number, t.spots.c.number.label("spot"), t.passes.c.pass_no)
        .add_columns(t.photos.c.picture_hash)
        .select_from(t.inspections.join(t.photos).join(t.passes).join(t.spots).join(t.jobs))
        .where(t.inspections.c.pass_id != pass_id, t.inspections.c.id != (corrects or 0))
        .order_by(t.inspections.c.id)
    )


def _nearest(connection: sa.Connection, elsewhere: sa.Select[Any], picture_hash: str) -> tuple[int, Any] | None:
    if not picture_hash:
        return None
    rows = connection.execute(elsewhere.where(t.photos.c.picture_hash != ""))
    found = ((hash_distance(picture_hash, row.picture_hash), row) for row in rows)
    return min(found, key=lambda pair: pair[0], default=None)


def _place(row: Any) -> str:
    return f"inspection {row.id} ({row.number}, spot {row.spot}, pass {row.pass_no})"


def _flag(code: str, measured: str) -> FlagRecord:
    return FlagRecord(code=code, blocking=FLAGS[code].blocking, measured=measured)
