"""The first log: people, jobs, spots, passes, photos, results, inspections, outlines, disagreements."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from prepcheck.store.columns import HASH, KEY, TEXT
from prepcheck.store.migrations.append_only import forbid_changes

revision = "v0001_first_log"
down_revision: str | None = None

TABLES = (
    "people",
    "jobs",
    "spots",
    "passes",
    "photos",
    "results",
    "inspections",
    "outlines",
    "disagreements",
)


def upgrade() -> None:
    """Make all tables and forbid changes to their rows."""
    _people_and_places()
    _photos_and_results()
    _inspections()
    for table in TABLES:
        forbid_changes(table)


def _key() -> sa.Column[int]:
    return sa.Column("id", KEY, primary_key=True, autoincrement=False)


def _to(name: str, target: str, *, needed: bool = True) -> sa.Column[int]:
    return sa.Column(name, KEY, sa.ForeignKey(f"{target}.id"), nullable=not needed)


def _photo() -> sa.Column[str]:
    return sa.Column("photo_sha256", HASH, sa.ForeignKey("photos.sha256"), nullable=False)


def _texts(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, TEXT, nullable=False) for name in names]


def _people_and_places() -> None:
    op.create_table("people", _key(), *_texts("name", "folded"), sa.UniqueConstraint("folded"))
    op.create_table(
        "jobs",
        _key(),
        *_texts("number", "title", "part", "alloy"),
        sa.Column("wall_mm", sa.Float),
        *_texts("previous_contents", "customer_reference", "opened_at"),
        _to("opened_by", "people"),
        sa.UniqueConstraint("number"),
    )
    op.create_table(
        "spots",
        _key(),
        _to("job_id", "jobs"),
        sa.Column("number", sa.Integer, nullable=False),
        *_texts("name"),
        sa.Column("folded", TEXT),
        sa.UniqueConstraint("job_id", "number"),
        sa.UniqueConstraint("job_id", "folded"),
    )
    op.create_table(
        "passes",
        _key(),
        _to("spot_id", "spots"),
        sa.Column("pass_no", sa.Integer, nullable=False),
        sa.UniqueConstraint("spot_id", "pass_no"),
        sa.CheckConstraint("pass_no BETWEEN 1 AND 99", name="pass_no_range"),
    )


def _photos_and_results() -> None:
    op.create_table(
        "photos",
        sa.Column("sha256", HASH, primary_key=True),
        *_texts("name", "format"),
        *(sa.Column(name, sa.Integer, nullable=False) for name in ("bytes", "width", "height")),
        sa.Column("taken", TEXT),
        *_texts("picture_hash"),
    )
    origin = ("version", "model_sha256", "settings_sha256", "inputs_sha256")
    op.create_table(
        "results",
        _key(),
        _photo(),
        *_texts(*origin, "standing"),
        sa.Column("score", sa.Float),
        *_texts("record"),
        sa.Column("record_sha256", HASH, nullable=False),
        *_texts("computed_at"),
        sa.UniqueConstraint("record_sha256", "inputs_sha256"),
    )
    op.create_index("results_by_origin", "results", ["photo_sha256", *origin])


def _inspections() -> None:
    op.create_table(
        "inspections",
        _key(),
        _to("pass_id", "passes"),
        _to("person_id", "people"),
        _photo(),
        _to("result_id", "results"),
        *_texts("photo_name"),
        sa.Column("outline", sa.Integer),
        *_texts("at", "note", "flags"),
        _to("corrects", "inspections", needed=False),
    )
    op.create_index("inspections_by_pass", "inspections", ["pass_id"])
    op.create_index("inspections_by_photo", "inspections", ["photo_sha256"])
    op.create_table(
        "outlines",
        _key(),
        _to("inspection_id", "inspections"),
        sa.Column("number", sa.Integer, nullable=False),
        *_texts("outlined_by", "standing"),
        _to("spot_id", "spots", needed=False),
        sa.Column("refused", TEXT),
        *_texts("points"),
        sa.UniqueConstraint("inspection_id", "number"),
    )
    op.create_table(
        "disagreements",
        _key(),
        _to("inspection_id", "inspections"),
        _to("person_id", "people"),
        *_texts("standing", "reason", "at"),
    )
    op.create_index("disagreements_by_inspection", "disagreements", ["inspection_id"])
