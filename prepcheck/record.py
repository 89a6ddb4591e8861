"""The file contract: what one inspected photo looks like as JSON.

These models are the only place where the shape of a record is written down; ``record.schema.json`` beside this file is
made from them (``python -m prepcheck.record``) and every printed line is checked against it in the tests. Readers of
stored records (report, log, pages) work on these objects and never compute a score again.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from prepcheck.errors import printable
from prepcheck.terms import CAUTIONS, Standing

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from prepcheck.inspection import Answer, Inspection, Member, MovedLight
    from prepcheck.photo import Flag, Photo
    from prepcheck.score import Patch, Score
    from prepcheck.spot import Spot

RECORD_VERSION = 1
SCHEMA_FILE = Path(__file__).with_name("record.schema.json")

Share = Annotated[float, Field(ge=0.0, le=1.0)]
Interval = tuple[Share, Share]
Point = tuple[float, float]
Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class Part(BaseModel):
    """A frozen part of a record; unknown names are refused when writing."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class ScaleRecord(Part):
    """Where the scale comes from and how sure a length is (standard deviation as a share of it)."""

    source: Literal["card", "stated"]
    relative_error: float


class PhotoRecord(Part):
    """The photo as received; width and height are upright, in pixels; taken is ISO 8601.

    `mm_per_px` holds at the centre of the first spot, or of the picture without one.
    """

    name: str
    sha256: Sha256
    width: int
    height: int
    mm_per_px: float | None
    scale: ScaleRecord | None = None
    format: str
    bytes: int
    taken: str | None = None
    camera: str | None = None
    picture_hash: str = ""
    position: Point | None = None


class FlagRecord(Part):
    """A flag, whether it blocks, and what was measured."""

    code: str
    blocking: bool
    measured: str = ""


class PatchRecord(Part):
    """One connected residue patch: its state, where (full-size pixels), how long, how sure."""

    state: str
    at: Point
    area_px: int
    area_mm2: float | None
    length_px: float
    length_mm: float | None
    probability: Share
    sure: bool


class SpotRecord(Part):
    """One ground spot.

    Shares are of the whole spot and sum to 1 (`shares` holds ``cannot_tell`` too); `bright_share` and `interval` are of
    the readable area, None when nothing could be read. `worst_unit_area` is the bright share of the worst unit area
    with every pixel that cannot be told counted as residue.
    """

    number: int
    outlined_by: Literal["tool", "person"] = "tool"
    outline: list[Point]
    area_px: int
    area_mm2: float | None
    mm_per_px: float | None
    bright_share: Share | None
    interval: Interval | None
    shares: dict[str, Share]
    readable_share: Share
    worst_unit_area: Share | None
    worst_unit_interval: Interval | None
    worst_unit_outline: list[Point]
    largest_patch_mm: float | None
    largest_patch: PatchRecord | None
    patches: int
    standing: Standing
    reason: str


class PersonRecord(Part):
    """What a person changed about the outlines, beside the tool's own answer."""

    refused: dict[int, str] = {}
    spots: list[SpotRecord] = []
    standing: Standing
    bright_share: Share | None
    interval: Interval | None


class OriginRecord(Part):
    """Where the answer comes from."""

    program: str = "prepcheck"
    version: str
    model: str
    model_sha256: Sha256
    settings_sha256: Sha256
    photo_sha256: Sha256


class SetPhotoRecord(Part):
    """What became of one photo of a moved-light set; `number` is its place in `photos`, from 1.

    `left_out` says why it was not used, empty when it was. `error_px` is the estimated error with which it lies on the
    first photo, in pixels at a long side of 1280, and `by` what it was laid on by; neither for the first photo itself.
    """

    number: int
    name: str
    left_out: str = ""
    error_px: float | None = None
    by: str | None = None
    flags: list[FlagRecord] = []


class AloneRecord(Part):
    """The answer for the first photo of a set alone."""

    standing: Standing
    bright_share: Share | None
    interval: Interval | None


class MovedLightRecord(Part):
    """What lies behind the answer for a moved-light set.

    `moved` says how much the light moved (0 not at all), None when nothing was fused; `learned_sha256` is that of the
    numbers that weighed the photos, empty where their mean stands alone.
    """

    photos: list[SetPhotoRecord]
    moved: float | None
    enough: bool
    advice: str
    learned_sha256: str = ""
    alone: AloneRecord


class PersistingRecord(Part):
    """Residue seen in the same place in `passes` passes, the first of them `since`. Says nothing about depth."""

    at: Point
    area_px: int
    area_mm2: float | None
    since: int
    passes: int
    probability: Share
    outline: list[Point]


class SinceLastPass(Part):
    """What changed on the job's spot since an earlier pass; only in answers that were logged.

    The shares are of the spot as outlined now, and sum to 1; None when the two could not be compared, then `reason` says
    why. `error_px` is the error with which they lie on each other, in pixels at a long side of 1280.
    """

    inspection: int
    pass_no: int
    reason: str = ""
    error_px: float | None = None
    shares: dict[str, Share] | None = None
    areas_mm2: dict[str, float] | None = None
    persisting: list[PersistingRecord] = []


class Record(Part):
    """The answer for one photo, or for one moved-light set in the frame of its first photo.

    `photos` are all photos of a set in the order given, empty for one photo; frames of a clip carry its SHA-256.
    """

    record_version: Literal[1] = 1
    photo: PhotoRecord
    photos: list[PhotoRecord] = []
    standing: Standing
    flags: list[FlagRecord]
    score: Annotated[float, Field(ge=0.0, le=100.0)] | None
    bright_share: Share | None
    interval: Interval | None
    spots: list[SpotRecord]
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
    origin = inspection.origin
    return OriginRecord(
        version=origin.version,
        model=origin.model.name,
        model_sha256=origin.model.sha256,
        settings_sha256=origin.settings_sha256,
        photo_sha256=origin.photo_sha256,
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
    largest = _patch_record(score.patches[0]) if score.patches else None
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
