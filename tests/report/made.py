"""Small records made by hand for the tests of pictures and tables."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from prepcheck.record import (
    AloneRecord,
    FlagRecord,
    JointRecord,
    MovedLightRecord,
    OriginRecord,
    PatchRecord,
    PersistingRecord,
    PersonRecord,
    PhotoRecord,
    Record,
    ScaleRecord,
    SetPhotoRecord,
    SideRecord,
    SinceLastPass,
    SpotRecord,
)
from prepcheck.terms import CAUTIONS, FLAGS, Standing

HASH = "0" * 64


def ring(x: float, y: float, r: float, count: int = 40) -> list[tuple[float, float]]:
    """Make a round outline."""
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return [(float(x + r * np.cos(t)), float(y + r * np.sin(t))) for t in turn]


def patch_at(x: float, y: float, *, mm: float | None = 11.2, px: float = 40.0, sure: bool = True) -> PatchRecord:
    """Make an oxide patch."""
    area = None if mm is None else mm * mm / 2
    return PatchRecord(
        state="oxide", at=(x, y), area_px=600, area_mm2=area, length_px=px, length_mm=mm, probability=0.95, sure=sure
    )


def spot_of(number: int, outline: list[tuple[float, float]], standing: Standing, **changes: Any) -> SpotRecord:
    """Make a spot of 71 (62 to 79); `changes` replace fields."""
    fields: dict[str, Any] = {
        "number": number,
        "outline": outline,
        "area_px": 12_000,
        "area_mm2": 1234.0,
        "mm_per_px": 0.1,
        "bright_share": 0.71,
        "interval": (0.62, 0.79),
        "shares": {"bright": 0.71, "oxide": 0.285, "foreign": 0.005},
        "readable_share": 1.0,
        "worst_unit_area": 0.66,
        "worst_unit_interval": (0.5, 0.7),
        "worst_unit_outline": [],
        "largest_patch_mm": None,
        "largest_patch": None,
        "patches": 0,
        "standing": standing,
        "reason": "at least 21% residue, the limit is 5%",
    }
    return SpotRecord(**{**fields, **changes})


def record_of(
    spots: list[SpotRecord],
    standing: Standing,
    *,
    size: tuple[int, int] = (1280, 960),
    name: str = "seam 3.jpg",
    mm_per_px: float | None = 0.1,
    flags: tuple[str, ...] = (),
    share: float | None = 0.71,
    interval: tuple[float, float] | None = (0.62, 0.79),
    by_person: PersonRecord | None = None,
) -> Record:
    """Make a record of a photo of `size` (width, height)."""
    scale = None if mm_per_px is None else ScaleRecord(source="card", relative_error=0.004)
    photo = PhotoRecord(
        name=name, sha256=HASH, width=size[0], height=size[1], mm_per_px=mm_per_px, scale=scale, format="JPEG", bytes=9
    )
    origin = OriginRecord(version="0", model="m", model_sha256=HASH, settings_sha256=HASH, photo_sha256=HASH)
    return Record(
        photo=photo,
        standing=standing,
        flags=[FlagRecord(code=code, blocking=FLAGS[code].blocking) for code in flags],
        score=None if share is None else 100 * share,
        bright_share=share,
        interval=interval,
        spots=spots,
        by_person=by_person,
        next_step=standing.next_step,
        cautions=list(CAUTIONS),
        origin=origin,
    )


def retake(**changes: Any) -> Record:
    """Make the record of a blurred photo without spots."""
    return record_of([], Standing.RETAKE, share=None, interval=None, mm_per_px=None, flags=("blurred",), **changes)


def grey(width: int = 1280, height: int = 960, level: int = 150) -> NDArray[np.uint8]:
    """Make an even photo."""
    return np.full((height, width, 3), level, np.uint8)


def twenty() -> Record:
    """Make a record with 20 spots of three standings."""
    kinds = (Standing.RESIDUE_LEFT, Standing.BRIGHT, Standing.CANNOT_TELL)
    places = [(140 + 250 * (i % 5), 130 + 235 * (i // 5)) for i in range(20)]
    spots = [spot_of(i + 1, ring(x, y, 80), kinds[i % 3]) for i, (x, y) in enumerate(places)]
    return record_of(spots, Standing.RESIDUE_LEFT)


def set_of(record: Record, *left_out: str, moved: float | None = 0.42, enough: bool = True, advice: str = "") -> Record:
    """Make the record of a set of three photos; `left_out` says why the last ones were."""
    names = ("seam 3.jpg", "seam 4.jpg", "seam 5.jpg")
    reasons = ["", *[""] * (2 - len(left_out)), *left_out]
    photos = [
        SetPhotoRecord(number=n, name=name, left_out=why, error_px=None if n == 1 or why else 0.3 * n)
        for n, (name, why) in enumerate(zip(names, reasons, strict=True), start=1)
    ]
    alone = AloneRecord(standing=Standing.CANNOT_TELL, bright_share=0.64, interval=(0.41, 0.83))
    behind = MovedLightRecord(photos=photos, moved=moved, enough=enough, advice=advice, alone=alone)
    received = [record.photo.model_copy(update={"name": name}) for name in names]
    return record.model_copy(update={"photos": received, "moved_light": behind})


def since(*passes: int, reason: str = "", not_comparable: float = 0.0) -> SinceLastPass:
    """Make what changed since pass 2; `passes` says in how many passes each persisting patch was seen."""
    if reason:
        return SinceLastPass(inspection=4, pass_no=2, reason=reason)
    told = {"newly_bright": 0.21, "still_residue": 0.031, "newly_exposed": 0.004, "not_comparable": not_comparable}
    patches = [
        PersistingRecord(at=(3, 3), area_px=9, area_mm2=7.2, since=1, passes=n, probability=0.95, outline=[(3, 3)])
        for n in passes
    ]
    shares = {**told, "still_bright": 1 - sum(told.values())}
    return SinceLastPass(inspection=4, pass_no=2, error_px=0.7, shares=shares, persisting=patches)


def joint_at(y: float, *, margin_mm: float | None = 25.0, touching: bool = False, residue: float = 0.1) -> JointRecord:
    """Make a level joint line from (300, y) to (900, y), with a margin of 250 px on each side unless there is no scale."""

    def side(name: Literal["above", "below"], low: float, high: float, left: float) -> SideRecord:
        shares = {"bright": 1 - left, "residue": left, "cannot_tell": 0.0, "not_ground": 0.0}
        box = [(300.0, low), (900.0, low), (900.0, high), (300.0, high)]
        return SideRecord(name=name, shares=shares, area_mm2=1500.0, clear_mm=8.0 if left else 25.0, outline=box)

    sides = [] if margin_mm is None else [side("above", y - 250, y, residue), side("below", y, y + 250, 0.0)]
    found = [patch_at(500, y, mm=1.4)] if touching else []
    return JointRecord(line=[(300, y), (900, y)], margin_mm=margin_mm, sides=sides, touching=found)
