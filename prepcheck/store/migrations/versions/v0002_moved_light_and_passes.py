"""All photos of an inspection, for moved-light sets and clips; and what changed since the pass before."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from prepcheck.store.columns import HASH, KEY, TEXT
from prepcheck.store.migrations.append_only import forbid_changes

revision = "v0002_moved_light_and_passes"
down_revision = "v0001_first_log"


def upgrade() -> None:
    """Make both tables; every inspection so far was of one photo."""
    op.create_table(
        "inspection_photos",
        sa.Column("id", KEY, primary_key=True, autoincrement=False),
        sa.Column("inspection_id", KEY, sa.ForeignKey("inspections.id"), nullable=False),
        sa.Column("position", sa.Integer, nullable=False),
        sa.Column("photo_sha256", HASH, sa.ForeignKey("photos.sha256"), nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.UniqueConstraint("inspection_id", "position"),
    )
    op.create_index("inspection_photos_by_photo", "inspection_photos", ["photo_sha256"])
    op.execute(
        "INSERT INTO inspection_photos (inspection_id, position, photo_sha256, name) "
        "SELECT id, 1, photo_sha256, photo_name FROM inspections ORDER BY id"
    )
    op.create_table(
        "comparisons",
        sa.Column("id", KEY, primary_key=True, autoincrement=False),
        sa.Column("inspection_id", KEY, sa.ForeignKey("inspections.id"), nullable=False),
        sa.Column("earlier_id", KEY, sa.ForeignKey("inspections.id"), nullable=False),
        sa.Column("told", TEXT, nullable=False),
        sa.UniqueConstraint("inspection_id"),
    )
    forbid_changes("inspection_photos")
    forbid_changes("comparisons")
