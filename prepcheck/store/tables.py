"""The tables as the newest migration leaves them. Importing this loads SQLAlchemy.

Rows are added, never changed or taken away: triggers made by the migrations see to that; they only let through what
erases a name, an entry, a PIN or a leaf's text, and what moves the line of a job or person forward. A correction is a new
row that points to the older one. Times are ISO 8601 text with offset, JSON is text.
"""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    ColumnElement,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    func,
    literal_column,
    text,
)
from sqlalchemy import UniqueConstraint as Unique

from prepcheck.store.columns import HASH, KEY, TEXT

metadata = MetaData()


def _key() -> Column[int]:
    return Column("id", KEY, primary_key=True, autoincrement=False)


def _to(name: str, target: str, *, needed: bool = True) -> Column[int]:
    return Column(name, KEY, ForeignKey(f"{target}.id"), nullable=not needed)


def _text(name: str) -> Column[str]:
    return Column(name, TEXT, nullable=False)


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
    Column("folded", TEXT),  # of the name; empty cells may repeat, names may not
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
    Column("sha256", HASH, primary_key=True),
    _text("name"),
    _text("format"),
    Column("bytes", Integer, nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("taken", TEXT),
    _text("picture_hash"),
)

BANDS = ((1, 3), (4, 3), (7, 3), (10, 3), (13, 4))
"""First digit, and count of digits, of the five bands of a picture's hash: two hashes that differ in at most four bits are
the same in one of five bands, so that photos that look alike are found through an index each."""


def band(hash_column: ColumnElement[str], number: int) -> ColumnElement[str]:
    """Return the expression that the index of a band (from 0) is made over."""
    first, length = BANDS[number]
    return func.substr(hash_column, literal_column(str(first)), literal_column(str(length)))


for _number in range(len(BANDS)):
    Index(f"photos_by_band_{_number + 1}", band(photos.c.picture_hash, _number))


def _photo() -> Column[str]:
    return Column("photo_sha256", HASH, ForeignKey("photos.sha256"), nullable=False)


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
    Column("record_sha256", HASH, nullable=False),
    _text("computed_at"),
    Unique("record_sha256", "inputs_sha256"),
    Index("results_by_origin", "photo_sha256", "version", "model_sha256", "settings_sha256", "inputs_sha256"),
)

_CORRECTS = text("corrects IS NOT NULL")

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
    Index("inspections_by_corrects", "corrects", sqlite_where=_CORRECTS, postgresql_where=_CORRECTS),
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
    Column("refused", TEXT),  # the person's reason
    _text("points"),
    Unique("inspection_id", "number"),
)

job_lines = Table(
    "job_lines",
    metadata,
    Column("job_id", KEY, ForeignKey("jobs.id"), primary_key=True, autoincrement=False),
    Column("spots", Integer, nullable=False),
    Column("inspections", Integer, nullable=False),
    _to("last_id", "inspections"),
    _text("last_standing"),  # of the spot that the newest inspection is tied to, or of its photo
    _text("last_at"),
    Index("job_lines_by_standing", "last_standing", "job_id"),
)
"""How each job stands now, so that a list need not read the whole log: made from the other tables, and no part of the tree."""

person_lines = Table(
    "person_lines",
    metadata,
    Column("person_id", KEY, ForeignKey("people.id"), primary_key=True, autoincrement=False),
    Column("job_id", KEY, ForeignKey("jobs.id"), primary_key=True, autoincrement=False),
    Column("inspections", Integer, nullable=False),
    _to("first_id", "inspections"),
    _to("last_id", "inspections"),
)
"""What each person logged in each job, so that a list of people need not read the whole log: made like `job_lines`."""

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
    Column("body", TEXT),  # the entry as canonical JSON; empty once erased
    Index("events_by_job", "job_id"),
    Index("events_by_kind", "kind"),
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
    Column("row", KEY, nullable=False),
    _text("salt"),
    Column("text", TEXT),
    Column("hash", HASH, nullable=False),
    _text("erased"),
    Unique("kind", "row"),
    Index("leaves_by_job", "job_id", "nth"),
)
"""One for each thing that was added, in order; see `prepcheck.store.leaves`."""

tree_blocks = Table("tree_blocks", metadata, _key(), Column("hash", HASH, nullable=False))
"""The root over each whole block of leaves, from 1: what the head of a large log is made from. See `prepcheck.store.leaves`."""
