"""What people enter about a job besides photos: each entry is one kind of event in the log, frozen, limited and checked.

Quantities are in the inner units of `prepcheck.trade.units`; texts are cleaned by the use cases. Times carry an offset.
"""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

Short = Annotated[str, StringConstraints(max_length=80)]
Line = Annotated[str, StringConstraints(max_length=200)]
Text = Annotated[str, StringConstraints(max_length=2000)]
Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
MOST_PRACTICE_PHOTOS = 40
"""Of one session: more than somebody marks with care in one go."""


class EntryModel(BaseModel):
    """Base of all entries."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Gas(StrEnum):
    """What a gas reading is of."""

    OXYGEN = "oxygen"
    FLAMMABLE = "flammable"
    TOXIC = "toxic"

    @property
    def unit(self) -> str:
        """The unit in which it is read."""
        return {Gas.OXYGEN: "% by volume", Gas.FLAMMABLE: "% LEL", Gas.TOXIC: "ppm"}[self]


class Sensor(StrEnum):
    """How a meter senses."""

    ELECTROCHEMICAL = "electrochemical"
    CATALYTIC = "catalytic"
    INFRARED = "infrared"
    PHOTOIONISATION = "photoionisation"
    PARAMAGNETIC = "paramagnetic"
    OTHER = "other"


class State(StrEnum):
    """The condition in which a vessel was made ready."""

    VENTILATED = "ventilated"
    INERTED = "inerted"
    WATER_FILLED = "water-filled"


class GasReading(EntryModel):
    """One reading of one gas at one place: oxygen in % by volume, flammable in % LEL, toxic in ppm."""

    kind: Literal["gas_reading"] = "gas_reading"
    gas: Gas
    value: float
    place: Line
    height_m: float | None = None
    of: Short = ""
    """Name of the toxic gas, or of the vapour looked for."""
    meter: Line = ""
    sensor: Sensor = Sensor.OTHER
    calibration_gas: Short = ""
    factor: float = 1.0
    calibrated_on: date | None = None
    calibration_due: date | None = None
    sees_hydrogen: bool | None = None
    """What the meter's handbook says; None where nobody looked."""
    limit: float | None = Field(default=None, gt=0)
    """Of a toxic gas, in ppm, as entered by whoever names the rule; `limit_source` says where it stands."""
    limit_source: Line = ""
    taken_at: AwareDatetime


class VesselCondition(EntryModel):
    """The condition of the vessel that the readings belong to."""

    kind: Literal["vessel_condition"] = "vessel_condition"
    condition: State
    previous_contents: Line
    cleaning_done: Text = ""
    purge_gas: Short = ""
    water_gap_mm: float | None = None
    """Distance of the water's surface from the weld."""
    room_ventilated: bool = False
    hydrogen_possible: bool = True
    bays: int = Field(default=1, ge=1, le=100)
    """Rooms between baffles; 1 without baffles."""
    at: AwareDatetime


class Certificate(EntryModel):
    """Who certified a vessel, under which rule; the user names the rule."""

    kind: Literal["certificate"] = "certificate"
    certified_by: Line
    rule: Line
    number: Short = ""
    place: Line = ""
    at: AwareDatetime


class WallReading(EntryModel):
    """Thickness of the wall at a place, by gauge, or from the depth of the ground-out."""

    kind: Literal["wall_reading"] = "wall_reading"
    spot: int | None = Field(default=None, ge=1, le=999)
    place: Line = ""
    method: Literal["gauge", "depth", "before_after"]
    wall_mm: float = Field(gt=0, le=1000)
    """Wall left."""
    nominal_mm: float | None = Field(default=None, gt=0, le=1000)
    depth_mm: float | None = Field(default=None, ge=0, le=1000)
    area_mm2: float | None = Field(default=None, gt=0)
    uncertainty_mm: float | None = Field(default=None, ge=0)
    instrument: Line = ""
    taken_at: AwareDatetime


class LeakEntry(EntryModel):
    """One look for leaks: bubbles at a pressure, a pressure watched over time, or water held."""

    kind: Literal["leak_entry"] = "leak_entry"
    method: Literal["bubbles", "decay", "water"]
    medium: Line = ""
    volume_m3: float | None = Field(default=None, gt=0)
    start_pa: float | None = None
    """Gauge pressure at the start; `end_pa` at the end."""
    end_pa: float | None = None
    start_k: float | None = Field(default=None, gt=0)
    end_k: float | None = Field(default=None, gt=0)
    seconds: float | None = Field(default=None, gt=0)
    ambient_pa: float = Field(default=101_325.0, gt=0)
    """Pressure of the air at the start; at the end too where `end_ambient_pa` does not say otherwise."""
    end_ambient_pa: float | None = Field(default=None, gt=0)
    pressure_error_pa: float | None = Field(default=None, ge=0)
    temperature_error_k: float | None = Field(default=None, ge=0)
    leaks: tuple[Line, ...] = ()
    """Where a leak was seen; empty when none was."""
    looked_at: Text = ""
    gauge: Line = ""
    started_at: AwareDatetime


class PlanMade(EntryModel):
    """A plan as computed and printed: clearing, wall, weld or leak; kept word for word so that it can be told again."""

    kind: Literal["plan_made"] = "plan_made"
    what: Literal["clearing", "wall", "weld", "leak"]
    inputs: dict[Short, Line]
    lines: tuple[tuple[Line, Text], ...]
    """Label and value with source, in order."""
    remarks: tuple[tuple[Short, Text], ...] = ()
    """Weight and text with source, heaviest first."""


class WorkChosen(EntryModel):
    """The plan of steps of a job, word for word as it was when it was chosen."""

    kind: Literal["work_chosen"] = "work_chosen"
    work: Short
    plan: Annotated[str, StringConstraints(max_length=16_000)]


class StepDone(EntryModel):
    """A person says that a step is done."""

    kind: Literal["step_done"] = "step_done"
    step: Short
    note: Text = ""
    started_at: AwareDatetime | None = None
    """When the work on it began, if told; the entry's own time is the end."""
    against: tuple[Line, ...] = ()
    """What spoke against it at that time; `note` then holds the reason."""


class StepReleased(EntryModel):
    """A named person releases a hold point; `override` with a reason when something still spoke against it."""

    kind: Literal["step_released"] = "step_released"
    step: Short
    override: bool = False
    reason: Text = ""
    against: tuple[Line, ...] = ()
    """What spoke against it at that time."""


class StepReopened(EntryModel):
    """A step that was done or released is open again, with the reason."""

    kind: Literal["step_reopened"] = "step_reopened"
    step: Short
    reason: Text


class Note(EntryModel):
    """Anything worth keeping about the job."""

    kind: Literal["note"] = "note"
    text: Text


class Sealed(EntryModel):
    """The job's evidence was sealed: name and SHA-256 of the bag's tag manifest, head of the log then."""

    kind: Literal["sealed"] = "sealed"
    bag: Line
    manifest_sha256: Short
    size: int = Field(ge=0)
    root: Short


class ShopFitLogged(EntryModel):
    """The shop's own fit of the tool's last calibration: one was taken into use, refused, or taken back.

    `sha256` is that of its signed file in the store's folder, empty when a fit is taken back. The last entry that is not a
    refusal says what holds.
    """

    kind: Literal["shop_fit"] = "shop_fit"
    outcome: Literal["taken", "refused", "back"]
    sha256: Annotated[str, StringConstraints(pattern="^([0-9a-f]{64})?$")] = ""
    model: Line
    photos: int = Field(default=0, ge=0, le=1_000_000)
    points: int = Field(default=0, ge=0, le=1_000_000_000)
    reasons: tuple[Line, ...] = ()
    """Why it was refused, or taken back."""


class Erased(EntryModel):
    """Something was erased for a lawful reason: its hash and the reason stay."""

    kind: Literal["erased"] = "erased"
    what: Line
    sha256: Short
    reason: Text


class PracticePhoto(EntryModel):
    """A photo of a practice session."""

    name: Line
    sha256: Sha256


class PracticeStarted(EntryModel):
    """Somebody began to practise on photos; the entry's own number names the session."""

    kind: Literal["practice_started"] = "practice_started"
    photos: tuple[PracticePhoto, ...] = Field(min_length=1, max_length=MOST_PRACTICE_PHOTOS)


class PracticeMarked(EntryModel):
    """Where somebody saw residue on a photo of a session, fixed before any answer was shown; the first one counts."""

    kind: Literal["practice_marked"] = "practice_marked"
    session: int = Field(ge=1)
    photo_sha256: Sha256
    mark_sha256: Sha256
    """Of the PNG of the mark: 255 residue, 128 not sure, 0 nothing seen."""


class PracticeCompared(EntryModel):
    """A mark beside the tool's answer or the known truth, inside the ground area; areas in pixels of the tool's map."""

    kind: Literal["practice_compared"] = "practice_compared"
    session: int = Field(ge=1)
    photo_sha256: Sha256
    mark_sha256: Sha256
    against: Literal["tool", "truth"]
    source: Line
    """Version of the program, with the model or the origin of the truth."""
    source_sha256: Sha256
    """Of the model, or of the map of the truth."""
    settings_sha256: Sha256
    both: int = Field(ge=0)
    only_marked: int = Field(ge=0)
    only_other: int = Field(ge=0)
    neither: int = Field(ge=0)
    unsure: int = Field(ge=0)
    """Where one of them was not sure; in none of the four before."""
    mm2_per_px: float | None = Field(default=None, gt=0)
    """Mean over the ground area; None where no scale is known."""
    least_px: float = Field(ge=0)
    """Smaller patches are not counted."""
    patches: int = Field(ge=0)
    """Of the other side."""
    patches_found: int = Field(ge=0)
    marked: int = Field(ge=0)
    """Patches of the mark."""
    marked_off: int = Field(ge=0)
    """Those of them less than half of which lies on residue of the other side."""


AnyEntry = Annotated[
    GasReading
    | VesselCondition
    | Certificate
    | WallReading
    | LeakEntry
    | PlanMade
    | WorkChosen
    | StepDone
    | StepReleased
    | StepReopened
    | Note
    | Sealed
    | ShopFitLogged
    | Erased
    | PracticeStarted
    | PracticeMarked
    | PracticeCompared,
    Field(discriminator="kind"),
]
"""Any entry; `pydantic.TypeAdapter(AnyEntry)` reads its JSON."""
