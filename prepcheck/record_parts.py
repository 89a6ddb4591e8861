"""The parts that a record is made of. What they say together, and how they are written, lies in `prepcheck.record`."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from prepcheck.terms import Standing

Share = Annotated[float, Field(ge=0.0, le=1.0)]
Interval = tuple[Share, Share]
Point = tuple[float, float]
MOST_PATCHES = 20
"""Patches of a spot that a record tells one by one."""
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

    @property
    def stated_mm_per_px(self) -> float | None:
        """The scale that a person stated, None where a card or nothing gave it."""
        return self.mm_per_px if self.scale is not None and self.scale.source == "stated" else None


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


class SideRecord(Part):
    """The margin on one side of the joint line, named by where it lies in the photo.

    `shares` are of the area in the photo within the margin, and sum to 1: ``bright``, ``residue`` and ``cannot_tell`` in a
    spot, ``not_ground`` outside. `clear_mm` reaches from the line to the nearest residue patch or unground surface.
    """

    name: Literal["left", "right", "above", "below"]
    shares: dict[str, Share]
    area_mm2: float
    clear_mm: float
    outline: list[Point]


class JointRecord(Part):
    """The joint line that a person drew, in full-size pixels, and what was seen there.

    `margin_stated` says that a person stated the width, and not the settings. `margin_mm` is None and `sides` are empty
    without a scale, and for a photo to retake. The margin changes no standing, patches that touch the line do; there, `sure`
    says whether a sure core of the patch touches it.
    """

    line: list[Point]
    margin_mm: float | None
    margin_stated: bool = False
    sides: list[SideRecord]
    touching: list[PatchRecord]


class SpotRecord(Part):
    """One ground spot.

    Shares are of the whole spot and sum to 1 (`shares` holds ``cannot_tell`` too); `bright_share` and `interval` are of
    the readable area, None when nothing could be read. `worst_unit_area` is the bright share of the worst unit area
    with every pixel that cannot be told counted as residue. `patches` counts the residue patches, `longest_patches` are the
    longest of them (`MOST_PATCHES` at most), longest first; empty in records made before these were kept.
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
    longest_patches: Annotated[list[PatchRecord], Field(max_length=MOST_PATCHES)] = []
    standing: Standing
    reason: str


class PersonRecord(Part):
    """What a person changed about the outlines, beside the tool's own answer."""

    refused: dict[int, str] = {}
    spots: list[SpotRecord] = []
    standing: Standing
    bright_share: Share | None
    interval: Interval | None
    joint: JointRecord | None = None


class OriginRecord(Part):
    """Where the answer comes from; `shop_fit` is the SHA-256 of the shop's own fit that it was read with, made on a day."""

    program: str = "prepcheck"
    version: str
    model: str
    model_sha256: Sha256
    settings_sha256: Sha256
    photo_sha256: Sha256
    shop_fit: Sha256 | None = None
    shop_fit_made_on: str = ""


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
