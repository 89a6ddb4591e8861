"""The file contract: what one inspected photo looks like as JSON.

These models, and those of `record_parts`, are the only place where the shape of a record is written down;
``record.schema.json`` beside this file is made from them (``python -m prepcheck.record``) and every printed line is checked
against it in the tests. Readers of stored records (report, log, pages) work on these objects and never compute a score
again.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field, TypeAdapter

from prepcheck.errors import printable
from prepcheck.record_parts import (
    MOST_PATCHES,
    AloneRecord,
    FlagRecord,
    Interval,
    JointRecord,
    MovedLightRecord,
    OriginRecord,
    Part,
    PatchRecord,
    PersistingRecord,
    PersonRecord,
    PhotoRecord,
    Point,
    ScaleRecord,
    SetPhotoRecord,
    Sha256,
    Share,
    SideRecord,
    SinceLastPass,
    SpotRecord,
)
from prepcheck.terms import CAUTIONS, Standing

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from prepcheck.inspection import Answer, Inspection, Member, MovedLight
    from prepcheck.photo import Flag, Photo
    from prepcheck.score import Patch, Score, Side
    from prepcheck.spot import Spot

__all__ = [
    "LINE",
    "MOST_PATCHES",
    "RECORD_VERSION",
    "SCHEMA_FILE",
    "AloneRecord",
    "BrokenPhoto",
    "BrokenRecord",
    "Fault",
    "FlagRecord",
    "Interval",
    "JointRecord",
    "MovedLightRecord",
    "OriginRecord",
    "Part",
    "PatchRecord",
    "PersistingRecord",
    "PersonRecord",
    "PhotoRecord",
    "Point",
    "Record",
    "ScaleRecord",
    "SetPhotoRecord",
    "Sha256",
    "Share",
    "SideRecord",
    "SinceLastPass",
    "SpotRecord",
    "broken_record",
    "record_of",
    "schema",
]

RECORD_VERSION = 1
SCHEMA_FILE = Path(__file__).with_name("record.schema.json")


class Record(Part):
    """The answer for one photo, or for one moved-light set in the frame of its first photo.

    `photos` are all photos of a set in the order given, empty for one photo; frames of a clip carry its SHA-256.
    """

    record_version: Literal[1] = 1
    photo: PhotoRecord
    photos: list[PhotoRecord] = Field(default=[])
    standing: Standing
    flags: list[FlagRecord]
    score: Annotated[float, Field(ge=0.0, le=100.0)] | None
    bright_share: Share | None
    interval: Interval | None
    spots: list[SpotRecord]
    joint: JointRecord | None = None
    by_person: PersonRecord | None = None
    moved_light: MovedLightRecord | None = None
    since_last_pass: SinceLastPass | None = None
    next_step: str
    cautions: list[str]
    origin: OriginRecord


class BrokenPhoto(Part):
    """What is known of an input that could not be read."""

    name: str


class Fault(Part):
    """Code and message of an error of `prepcheck.errors`."""

    code: str
    message: str


class BrokenRecord(Part):
    """The line for an input that could not be read."""

    record_version: Literal[1] = 1
    photo: BrokenPhoto
    error: Fault


LINE: TypeAdapter[Record | BrokenRecord] = TypeAdapter(Record | BrokenRecord)
"""One line of ``inspect --json``."""


def record_of(inspection: Inspection) -> Record:
    """Write an inspection down as a record. Lengths and areas are rounded to what they can mean."""
    answer, flags = inspection.answer, inspection.flags
    blocked = any(flag.blocking for flag in flags)
    share, interval = _share_and_interval(answer)
    behind = inspection.moved_light
    return Record(
        photo=_photo_record(inspection.photo, [score.mm_per_px for _, score in answer.spots]),
        photos=[] if behind is None else [_photo_record(member.photo, []) for member in behind.members],
        standing=answer.standing,
        flags=_flag_records(flags),
        score=None if share is None else round(100 * share, 2),
        bright_share=share,
        interval=interval,
        spots=_spot_records(answer, blocked),
        joint=_joint_record(answer),
        by_person=_person_record(inspection),
        moved_light=None if behind is None else _moved_light_record(behind),
        next_step=answer.standing.next_step,
        cautions=list(CAUTIONS),
        origin=_origin_record(inspection),
    )


def broken_record(name: str, code: str, message: str) -> BrokenRecord:
    """Write down that the input `name` could not be read."""
    return BrokenRecord(photo=BrokenPhoto(name=name), error=Fault(code=code, message=message))


def _flag_records(flags: tuple[Flag, ...]) -> list[FlagRecord]:
    return [FlagRecord(code=flag.code, blocking=flag.blocking, measured=printable(flag.measured)) for flag in flags]


def _moved_light_record(behind: MovedLight) -> MovedLightRecord:
    share, interval = _share_and_interval(behind.alone)
    return MovedLightRecord(
        photos=[_set_photo_record(number, member) for number, member in enumerate(behind.members, start=1)],
        moved=None if behind.moved is None else round(behind.moved, 4),
        enough=behind.enough,
        advice=behind.advice,
        learned_sha256=behind.learned,
        alone=AloneRecord(standing=behind.alone.standing, bright_share=share, interval=interval),
    )


def _set_photo_record(number: int, member: Member) -> SetPhotoRecord:
    lies = member.alignment
    return SetPhotoRecord(
        number=number,
        name=printable(member.photo.name),
        left_out=printable(member.left_out),
        error_px=None if lies is None else round(lies.error_px, 2),
        by=None if lies is None else lies.by,
        flags=_flag_records(member.flags),
    )


def _photo_record(photo: Photo, scales: list[float | None]) -> PhotoRecord:
    plane = photo.plane
    middle = None if plane is None else plane.mm_per_px(photo.width / 2, photo.height / 2)
    mm_per_px = scales[0] if scales else middle
    return PhotoRecord(
        name=printable(photo.name),
        sha256=photo.sha256,
        width=photo.width,
        height=photo.height,
        mm_per_px=None if mm_per_px is None else round(mm_per_px, 6),
        scale=None
        if plane is None
        else ScaleRecord(
            source="card" if plane.source == "card" else "stated", relative_error=round(plane.relative_error, 5)
        ),
        format=photo.format,
        bytes=photo.byte_count,
        taken=photo.taken,
        camera=photo.camera,
        picture_hash=photo.picture_hash,
        position=photo.position,
    )


def _origin_record(inspection: Inspection) -> OriginRecord:
    origin, fit = inspection.origin, inspection.origin.model.shop_fit
    return OriginRecord(
        version=origin.version,
        model=origin.model.name,
        model_sha256=origin.model.sha256,
        settings_sha256=origin.settings_sha256,
        photo_sha256=origin.photo_sha256,
        shop_fit=None if fit is None else fit.sha256,
        shop_fit_made_on="" if fit is None else fit.made_on,
    )


def _person_record(inspection: Inspection) -> PersonRecord | None:
    answer = inspection.by_person
    if answer is None:
        return None
    share, interval = _share_and_interval(answer)
    blocked = answer.standing is Standing.RETAKE
    return PersonRecord(
        refused=inspection.refused,
        spots=_spot_records(answer, blocked),
        standing=answer.standing,
        bright_share=share,
        interval=interval,
        joint=_joint_record(answer),
    )


def _joint_record(answer: Answer) -> JointRecord | None:
    joint = answer.joint
    if joint is None:
        return None
    if answer.standing is Standing.RETAKE:
        return JointRecord(line=_points(joint.line.points), margin_mm=None, sides=[], touching=[])
    return JointRecord(
        line=_points(joint.line.points),
        margin_mm=joint.margin_mm,
        margin_stated=joint.line.margin_mm is not None,
        sides=[_side_record(side) for side in joint.sides],
        touching=[_patch_record(patch).model_copy(update={"sure": patch.surely_at_joint}) for patch in joint.touching],
    )


def _side_record(side: Side) -> SideRecord:
    return SideRecord(
        name=side.name,
        shares={kind: round(share, 6) for kind, share in side.shares.items()},
        area_mm2=round(side.area_mm2, 2),
        clear_mm=round(side.clear_mm, 1),
        outline=_points(side.outline),
    )


def _share_and_interval(answer: Answer) -> tuple[float | None, Interval | None]:
    share = answer.share
    if share is None or share.value is None:
        return None, None
    return round(share.value, 6), (round(share.low, 6), round(share.high, 6))


def _spot_records(answer: Answer, blocked: bool) -> list[SpotRecord]:
    return [_spot_record(spot, score, blocked) for spot, score in answer.spots]


def _spot_record(spot: Spot, score: Score, blocked: bool) -> SpotRecord:
    share, worst = score.share, score.worst
    read = share.value is not None
    longest = [_patch_record(patch) for patch in score.patches[:MOST_PATCHES]]
    largest = longest[0] if longest else None
    return SpotRecord(
        number=spot.number,
        outlined_by="person" if spot.outlined_by == "person" else "tool",
        outline=_points(spot.outline),
        area_px=round(score.area_px),
        area_mm2=None if score.area_mm2 is None else round(score.area_mm2, 2),
        mm_per_px=None if score.mm_per_px is None else round(score.mm_per_px, 6),
        bright_share=None if share.value is None else round(share.value, 6),
        interval=(round(share.low, 6), round(share.high, 6)) if read else None,
        shares={state.key: round(value, 6) for state, value in score.shares.items()},
        readable_share=round(share.readable, 6),
        worst_unit_area=None if worst.share.value is None else round(worst.share.value * worst.share.readable, 6),
        worst_unit_interval=(
            round(1 - worst.share.most_residue, 6),
            round(1 - worst.share.least_residue, 6),
        ),
        worst_unit_outline=[] if worst.outline is None else _points(worst.outline),
        largest_patch_mm=None if largest is None else largest.length_mm,
        largest_patch=largest,
        patches=len(score.patches),
        longest_patches=longest,
        standing=Standing.RETAKE if blocked else score.standing,
        reason="the photo has a blocking flag" if blocked else score.reason,
    )


def _patch_record(patch: Patch) -> PatchRecord:
    return PatchRecord(
        state=patch.state.key,
        at=(round(patch.at[0], 1), round(patch.at[1], 1)),
        area_px=round(patch.area_px),
        area_mm2=None if patch.area_mm2 is None else round(patch.area_mm2, 2),
        length_px=round(patch.length_px, 1),
        length_mm=None if patch.length_mm is None else round(patch.length_mm, 2),
        probability=round(patch.probability, 4),
        sure=patch.sure,
    )


def _points(points: NDArray[np.float64]) -> list[Point]:
    return [(round(float(x), 1), round(float(y), 1)) for x, y in points]


def schema() -> str:
    """Return the JSON Schema of one line, as text."""
    made = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "prepcheck record",
        **LINE.json_schema(),
    }
    return json.dumps(made, indent=1, sort_keys=True) + "\n"


if __name__ == "__main__":
    SCHEMA_FILE.write_text(schema(), encoding="utf-8")
