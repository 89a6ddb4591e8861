"""The tables as the newest migration leaves them. Importing this loads SQLAlchemy.

Rows are added, never changed or taken away: triggers made by the migrations see to that; they only let through what
erases a name, an entry, a PIN or a leaf's text. A correction is a new row that points to the older one. Times are ISO 8601
text with offset, JSON is text.
"""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, Float, ForeignKey, Index, Integer, MetaData, String, Table, Text
from sqlalchemy import UniqueConstraint as Unique

metadata = MetaData()


def _key() -> Column[int]:
    return Column("id", Integer, primary_key=True)


def _to(name: str, target: str, *, needed: bool = True) -> Column[int]:
    return Column(name, Integer, ForeignKey(f"{target}.id"), nullable=not needed)


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False)


people = Table("people", metadata, _key(), _text("name"), _text("folded"), Unique("folded"))

jobs = Table(
    "jobs",
    metadata,
    _key(),
    _text("number"),
    _text("title"),
    _text("part"),
    _text("alloy"),
    Column("wall_mm", Float),
    _text("previous_contents"),
    _text("customer_reference"),
    _text("opened_at"),
    _to("opened_by", "people"),
    Unique("number"),
)

spots = Table(
    "spots",
    metadata,
    _key(),
    _to("job_id", "jobs"),
    Column("number", Integer, nullable=False),
    _text("name"),
    Column("folded", Text),  # of the name; empty cells may repeat, names may not
    Unique("job_id", "number"),
    Unique("job_id", "folded"),
)

passes = Table(
    "passes",
    metadata,
    _key(),
    _to("spot_id", "spots"),
    Column("pass_no", Integer, nullable=False),
    Unique("spot_id", "pass_no"),
    CheckConstraint("pass_no BETWEEN 1 AND 99", name="pass_no_range"),
)

photos = Table(
    "photos",
    metadata,
    Column("sha256", String(64), primary_key=True),
    _text("name"),
    _text("format"),
    Column("bytes", Integer, nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("taken", Text),
    _text("picture_hash"),
)


def _photo() -> Column[str]:
    return Column("photo_sha256", String(64), ForeignKey("photos.sha256"), nullable=False)


results = Table(
    "results",
    metadata,
    _key(),
    _photo(),
    _text("version"),
    _text("model_sha256"),
    _text("settings_sha256"),
    _text("inputs_sha256"),
    _text("standing"),
    Column("score", Float),
    _text("record"),
    Column("record_sha256", String(64), nullable=False),
    _text("computed_at"),
    Unique("record_sha256", "inputs_sha256"),
    Index("results_by_origin", "photo_sha256", "version", "model_sha256", "settings_sha256", "inputs_sha256"),
)

inspections = Table(
    "inspections",
    metadata,
    _key(),
    _to("pass_id", "passes"),
    _to("person_id", "people"),
    _photo(),
    _to("result_id", "results"),
    _text("photo_name"),
    Column("outline", Integer),  # the photo's outline that is the spot of the pass; empty when it shows none
    _text("at"),
    _text("note"),
    _text("flags"),  # raised by the log itself, beside those in the record
    _to("corrects", "inspections", needed=False),
    Index("inspections_by_pass", "pass_id"),
    Index("inspections_by_photo", "photo_sha256"),
)

inspection_photos = Table(
    "inspection_photos",
    metadata,
    _key(),
    _to("inspection_id", "inspections"),
    Column("position", Integer, nullable=False),  # from 1; only a moved-light set has more
    _photo(),
    _text("name"),
    Unique("inspection_id", "position"),
    Index("inspection_photos_by_photo", "photo_sha256"),
)

comparisons = Table(
    "comparisons",
    metadata,
    _key(),
    _to("inspection_id", "inspections"),
    _to("earlier_id", "inspections"),
    _text("told"),  # what changed since, as JSON
    Unique("inspection_id"),
)

outlines = Table(
    "outlines",
    metadata,
    _key(),
    _to("inspection_id", "inspections"),
    Column("number", Integer, nullable=False),
    _text("outlined_by"),
    _text("standing"),
    _to("spot_id", "spots", needed=False),  # empty: not assigned
    Column("refused", Text),  # the person's reason
    _text("points"),
    Unique("inspection_id", "number"),
)

disagreements = Table(
    "disagreements",
    metadata,
    _key(),
    _to("inspection_id", "inspections"),
    _to("person_id", "people"),
    _text("standing"),
    _text("reason"),
    _text("at"),
    Index("disagreements_by_inspection", "inspection_id"),
)

events = Table(
    "events",
    metadata,
    _key(),
    _to("job_id", "jobs", needed=False),  # empty: of the log as a whole
    _to("person_id", "people"),
    _text("role"),  # proved by a PIN at that time, or empty
    _text("kind"),
    _text("at"),
    Column("body", Text),  # the entry as canonical JSON; empty once erased
    Index("events_by_job", "job_id"),
)

credentials = Table(
    "credentials",
    metadata,
    _key(),
    _to("person_id", "people"),
    _text("role"),
    _text("pin"),  # Argon2id hash as a PHC string, or empty
    _text("at"),
    _to("set_by", "people"),
    Index("credentials_by_person", "person_id"),
)
"""The newest row of a person counts."""

pin_attempts = Table(
    "pin_attempts",
    metadata,
    _key(),
    _to("person_id", "people"),
    _text("at"),
    Column("right", Integer, nullable=False),
    Index("pin_attempts_by_person", "person_id"),
)

leaves = Table(
    "leaves",
    metadata,
    _key(),  # one more than the index in the tree
    _to("job_id", "jobs", needed=False),
    Column("nth", Integer, nullable=False),  # of the job, from 1
    _text("kind"),
    Column("row", Integer, nullable=False),
    _text("salt"),
    Column("text", Text),
    Column("hash", String(64), nullable=False),
    _text("erased"),
    Unique("kind", "row"),
    Index("leaves_by_job", "job_id", "nth"),
)
"""One for each thing that was added, in order; see `prepcheck.store.leaves`."""
