"""Says when a photo was used before, to the byte or nearly."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from prepcheck.record import FlagRecord, PhotoRecord
from prepcheck.store import tables as t
from prepcheck.terms import FLAGS


def log_flags(
    connection: sa.Connection, photos: list[PhotoRecord], pass_id: int, near_bits: int, corrects: int | None
) -> list[FlagRecord]:
    """Return the flags of photos, of one inspection, that are logged for another spot or pass already.

    Two photos of one pass may look alike, and an inspection may correct the one it points to; neither is flagged. The
    first photo of a set that was used before is told, one flag of a kind.
    """
    found = (_photo_flag(connection, photo, pass_id, near_bits, corrects, len(photos) > 1) for photo in photos)
    return list({flag.code: flag for flag in reversed([flag for flag in found if flag is not None])}.values())


def _photo_flag(
    connection: sa.Connection, photo: PhotoRecord, pass_id: int, near_bits: int, corrects: int | None, of_set: bool
) -> FlagRecord | None:
    which = f"{photo.name}: " if of_set else ""
    same = _elsewhere(connection, photo.sha256, pass_id, corrects)
    if same is not None:
        return _flag("used_before", f"{which}the same bytes as {_place(same)}")
    for distance, sha256 in _alike(connection, photo, near_bits):
        near = _elsewhere(connection, sha256, pass_id, corrects)
        if near is not None:
            return _flag("looks_used_before", f"{which}{distance} of 64 bits differ from {_place(near)}")
    return None


def _elsewhere(connection: sa.Connection, sha256: str, pass_id: int, corrects: int | None) -> Any:
    """Return the first inspection of a photo for another pass, or None."""
    query = (
        sa.select(t.inspections.c.id, t.jobs.c.number, t.spots.c.number.label("spot"), t.passes.c.pass_no)
        .select_from(t.inspection_photos.join(t.inspections).join(t.passes).join(t.spots).join(t.jobs))
        .where(t.inspection_photos.c.photo_sha256 == sha256, t.inspections.c.pass_id != pass_id)
        .where(t.inspections.c.id != (corrects or 0))
        .order_by(t.inspections.c.id)
    )
    return connection.execute(query.limit(1)).first()


def _alike(connection: sa.Connection, photo: PhotoRecord, near_bits: int) -> list[tuple[int, str]]:
    """Return distance and SHA-256 of the other photos within `near_bits`, nearest first.

    Two photos that name different capture times were taken twice, however alike they look; a copy names the same or none.
    """
    if not photo.picture_hash:
        return []
    from prepcheck.photo import hash_distance  # loads OpenCV, which telling a story does without

    query = sa.select(t.photos.c.sha256, t.photos.c.picture_hash)
    if near_bits < len(t.BANDS):  # else two hashes may differ in every band, and all photos are looked at
        query = query.where(sa.or_(*(_same_band(photo.picture_hash, number) for number in range(len(t.BANDS)))))
    if photo.taken is not None:
        query = query.where(sa.or_(t.photos.c.taken.is_(None), t.photos.c.taken == photo.taken))
    rows = connection.execute(query.where(t.photos.c.picture_hash != "", t.photos.c.sha256 != photo.sha256))
    found = ((hash_distance(photo.picture_hash, other), sha256) for sha256, other in rows)
    return sorted(pair for pair in found if pair[0] <= near_bits)


def _same_band(picture_hash: str, number: int) -> sa.ColumnElement[bool]:
    first, length = t.BANDS[number]
    return t.band(t.photos.c.picture_hash, number) == picture_hash[first - 1 : first - 1 + length]


def _place(row: Any) -> str:
    return f"inspection {row.id} ({row.number}, spot {row.spot}, pass {row.pass_no})"


def _flag(code: str, measured: str) -> FlagRecord:
    return FlagRecord(code=code, blocking=FLAGS[code].blocking, measured=measured)
