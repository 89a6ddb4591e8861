"""What a phone asks for, as it comes in: the bodies of the JSON side."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from prepcheck.light_set import MOST_PHOTOS
from prepcheck.store.words import MOST_PASS_NO, NAME, NOTE

Key = Annotated[
    str, Field(pattern=r"^[A-Za-z0-9_-]{8,64}$", description="Made on the phone, anew for each file or question.")
]
Id = Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")]
Position = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)]
Line = Annotated[list[tuple[Position, Position]], Field(max_length=10_000)]
_MOST_OUTLINES = 20


class Body(BaseModel):
    """A body: frozen, and nothing unknown in it."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class NewUpload(Body):
    """A photo, clip or sealed bag that is about to be sent."""

    key: Key
    name: Annotated[str, Field(min_length=1, max_length=255)]
    bytes: Annotated[int, Field(gt=0, le=2**40)]
    sha256: Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")] = ""


class Outlines(Body):
    """Outlines that a person draws or refuses, and the joint line; positions in pixels of the upright full-size photo.

    `joint_margin_mm` is the margin's width on each side as the person states it; None takes it from the settings.
    """

    draw: Annotated[list[Line], Field(max_length=_MOST_OUTLINES)] = []
    refuse: Annotated[dict[Annotated[str, Field(pattern="^[1-9][0-9]{0,2}$")], str], Field(max_length=99)] = {}
    joint: Line | None = None
    joint_margin_mm: Annotated[float, Field(ge=1, le=500, allow_inf_nan=False)] | None = None


class Asked(Body):
    """Inspect what was uploaded, or look again at a logged inspection (`corrects`, without uploads) with other outlines."""

    key: Key
    uploads: Annotated[list[Id], Field(max_length=MOST_PHOTOS)] = []
    kind: Literal["photo", "set", "clip"] = "photo"
    job: Annotated[str, Field(max_length=NAME)]
    spot: Annotated[str, Field(max_length=NAME)]
    pass_no: Annotated[int, Field(ge=1, le=MOST_PASS_NO)]
    note: Annotated[str, Field(max_length=NOTE)] = ""
    mm_per_px: Annotated[float, Field(ge=1e-4, le=100, allow_inf_nan=False)] | None = None
    outline: Annotated[int, Field(ge=1, le=999)] | None = None
    outlines: Outlines | None = None
    corrects: Annotated[int, Field(ge=1, lt=2**63)] | None = None

    @model_validator(mode="after")
    def _counted(self) -> Self:
        count = len(self.uploads)
        if len(set(self.uploads)) != count:
            raise ValueError("an upload is named twice")
        if count == 0 and self.corrects is None:
            raise ValueError("no upload is named")
        if count and (self.kind == "set") != (count > 1):
            raise ValueError(f"a set has 2 to {MOST_PHOTOS} photos, a photo or clip is one")
        if self.outlines is not None and count > 1:
            raise ValueError("outlines belong to one photo")
        return self

    def outlines_json(self) -> str:
        """Return the outlines as the text of an outline file; empty for none."""
        return "" if self.outlines is None else self.outlines.model_dump_json(exclude_none=True)


class Redrawn(Body):
    """Outlines for a logged inspection, which is looked at again; both answers stay in the log."""

    key: Key
    outlines: Outlines
    outline: Annotated[int, Field(ge=1, le=999)] | None = None
    note: Annotated[str, Field(max_length=NOTE)] = ""


class Paired(Body):
    """The token of a link to pair, and what the phone calls itself."""

    token: Annotated[str, Field(max_length=200)]
    device: Annotated[str, Field(max_length=500)] = ""


class NameAndPin(Body):
    """Who signs in."""

    name: Annotated[str, Field(max_length=NAME)]
    pin: Annotated[str, Field(max_length=64)]
