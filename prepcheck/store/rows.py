"""What goes into the log and comes out of it: frozen, without a database behind."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from prepcheck.record import FlagRecord, Interval, PhotoRecord, Record, SinceLastPass, SpotRecord
from prepcheck.terms import Standing
from prepcheck.trade.entries import AnyEntry, Sealed


@dataclass(frozen=True)
class NewJob:
    """What is told about a job when it is opened; texts are cleaned, `wall_mm` is the wall in mm or None."""

    title: str
    part: str = ""
    alloy: str = ""
    wall_mm: float | None = None
    previous_contents: str = ""
    customer_reference: str = ""


@dataclass(frozen=True)
class Job:
    """A job as logged; `opened_at` is ISO 8601 with offset."""

    number: str
    title: str
    part: str
    alloy: str
    wall_mm: float | None
    previous_contents: str
    customer_reference: str
    opened_at: str
    opened_by: str


@dataclass(frozen=True)
class JobLine:
    """A job in the list of jobs: how much was logged in it, and its last standing."""

    job: Job
    spots: int
    inspections: int
    last_standing: Standing | None
    last_at: str | None


@dataclass(frozen=True)
class Entry:
    """One photo's answer on its way into the log.

    Parameters
    ----------
    record : Record
        The tool's answer, with what a person changed about the outlines beside it.
    job, spot : str
        Number of the job; number or name of the spot on it.
    pass_no : int
        Grinding pass on this spot, 1..99.
    person : str
        Who answers for the photo.
    at : datetime
        When, with time zone.
    outline : int or None
        Number of the outline that is the job's spot; None when the photo shows none.
    inputs_sha256 : str
        Hash of what else the answer depends on (outlines drawn, stated scale); empty for nothing.
    note : str
        Anything the person adds.
    corrects : int or None
        Number of the older inspection that this one corrects.
    since : SinceLastPass or None
        What changed since an earlier pass of the spot.
    """

    record: Record
    job: str
    spot: str
    pass_no: int
    person: str
    at: datetime
    outline: int | None = None
    inputs_sha256: str = ""
    note: str = ""
    corrects: int | None = None
    since: SinceLastPass | None = None


@dataclass(frozen=True)
class Logged:
    """What was logged: `inspection` is its number, `record` the answer with the flags that the log itself raised."""

    inspection: int
    job: str
    spot: int
    pass_no: int
    outline: int | None
    not_assigned: tuple[int, ...]
    record: Record


@dataclass(frozen=True)
class Disagreement:
    """A person's own standing beside the tool's, with the reason."""

    inspection: int
    person: str
    standing: Standing
    reason: str
    at: str


@dataclass(frozen=True)
class EarlierInspection:
    """The newest inspection of a pass of a spot; `spot` is that spot as it stood in it."""

    number: int
    pass_no: int
    at: str
    record: Record
    spot: SpotRecord
    since: SinceLastPass | None = None

    @property
    def fit(self) -> bool:
        """Whether the photo was fit to judge."""
        return self.spot.standing is not Standing.RETAKE

    @property
    def photos(self) -> list[PhotoRecord]:
        """The photos that it rests on, in order."""
        return self.record.photos or [self.record.photo]


@dataclass(frozen=True)
class LoggedInspection:
    """One logged photo or moved-light set as told again.

    `standing`, `bright_share` and `interval` are those of the outline tied to the spot (of the photo when there is
    none), as the tool answered with the outlines that stood; `tool_standing` is the tool's own for the photo. `photos`
    are the names of all photos of a set, `since` what changed since an earlier pass.
    """

    number: int
    at: str
    person: str
    photo_name: str
    photo_sha256: str
    taken: str | None
    outline: int | None
    not_assigned: tuple[int, ...]
    standing: Standing
    tool_standing: Standing
    bright_share: float | None
    interval: Interval | None
    reason: str
    flags: tuple[FlagRecord, ...]
    refused: dict[int, str]
    drawn: tuple[int, ...]
    note: str
    corrects: int | None
    corrected_by: tuple[int, ...]
    disagreements: tuple[Disagreement, ...]
    origin: str
    photos: tuple[str, ...] = ()
    since: SinceLastPass | None = None


@dataclass(frozen=True)
class PassStory:
    """A grinding pass with its inspections, oldest first."""

    pass_no: int
    inspections: tuple[LoggedInspection, ...]


@dataclass(frozen=True)
class SpotStory:
    """A spot of the job with its passes."""

    number: int
    name: str
    passes: tuple[PassStory, ...]


@dataclass(frozen=True)
class LoggedEvent:
    """An entry of a person about a job, as logged: `number` is its own, `entry` is None after a lawful erasure.

    `role` is the one that the person proved with a PIN; empty when no PIN was given. `erased_kind` is the kind of an entry
    that was erased, else empty.
    """

    number: int
    at: str
    person: str
    role: str
    entry: AnyEntry | None
    erased_kind: str = ""


@dataclass(frozen=True)
class Leaf:
    """One entry of the whole log as it went into the tree.

    `index` counts from 0; `job` is empty for what belongs to no job; `nth` counts the entries of that job from 1;
    `text` is the canonical JSON that was hashed together with `salt` (hex), None after a lawful erasure, with the reason
    in `erased`; ``hash = leaf_hash(bytes.fromhex(salt) + text.encode())``, hex.
    """

    index: int
    job: str
    nth: int
    salt: str
    text: str | None
    hash: str
    erased: str = ""


@dataclass(frozen=True)
class TreeHead:
    """The whole log at a moment: number of entries, and root of the tree over them (hex)."""

    size: int
    root: str


@dataclass(frozen=True)
class Story:
    """A job from its opening to the last thing logged."""

    job: Job
    spots: tuple[SpotStory, ...]
    events: tuple[LoggedEvent, ...] = ()

    @property
    def inspections(self) -> tuple[LoggedInspection, ...]:
        """All inspections, in order of spot, pass and time."""
        return tuple(one for spot in self.spots for of_pass in spot.passes for one in of_pass.inspections)


@dataclass(frozen=True)
class Person:
    """A person in the log; `role` is empty until a keeper gives one, `has_pin` says whether they can prove it."""

    number: int
    name: str
    role: str = ""
    has_pin: bool = False


@dataclass(frozen=True)
class PinCheck:
    """What is needed to check a person's PIN: its Argon2id hash, and how often in a row a wrong one was given, and when."""

    person: Person
    pin: str = field(repr=False)
    wrong: int
    last_wrong: str | None


@dataclass(frozen=True)
class Seal:
    """A seal as logged: `sealed` names the bag, and the head of the tree that it fixed; `number` is that of its event."""

    number: int
    job: str
    at: str
    person: str
    sealed: Sealed


@dataclass(frozen=True)
class Moment:
    """A job and the whole log at one moment, as needed to seal it.

    `records` are those of the job's inspections by number, as canonical JSON; `leaves` and `seals` are those of the log;
    the leaves of other jobs come without salt and text, as a seal of this job needs their hashes alone.
    """

    story: Story
    records: dict[int, str]
    leaves: list[Leaf]
    seals: list[Seal]
