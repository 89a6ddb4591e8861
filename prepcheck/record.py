"""The file contract: what one inspected photo looks like as JSON.

These models are the only place where the shape of a record is written down; ``record.schema.json`` beside this file is
made from them (``python -m prepcheck.record``) and every printed line is checked against it in the tests. Readers of
stored records (report, log, pages) work on these objects and never compute a score again.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from prepcheck.terms import Standing

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
    """The photo as received; width and height are upright, in pixels; taken is ISO 8601."""

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


class Record(Part):
    """The answer for one photo."""

    record_version: Literal[1] = 1
    photo: PhotoRecord
    standing: Standing
    flags: list[FlagRecord]
    score: Annotated[float, Field(ge=0.0, le=100.0)] | None
    bright_share: Share | None
    interval: Interval | None
    spots: list[SpotRecord]
    by_person: PersonRecord | None = None
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


def schema() -> str:
    """Return the JSON Schema of one line, as text."""
    made = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "prepcheck record", **LINE.json_schema()}
    return json.dumps(made, indent=1, sort_keys=True) + "\n"


if __name__ == "__main__":
    SCHEMA_FILE.write_text(schema(), encoding="utf-8")
