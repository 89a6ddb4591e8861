"""What a log of a million inspections needs to be read quickly: how each job stands now, and indices."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from prepcheck.store.columns import KEY, TEXT
from prepcheck.store.migrations.append_only import forbid_changes_but

revision = "v0004_large_logs"
down_revision = "v0003_steps_and_tree"


def upgrade() -> None:
    """Make the table with a line for each job that has inspections, which may only move forward; then the indices."""
    op.create_table(
        "job_lines",
        sa.Column("job_id", KEY, sa.ForeignKey("jobs.id"), primary_key=True, autoincrement=False),
        sa.Column("spots", sa.Integer, nullable=False),
        sa.Column("inspections", sa.Integer, nullable=False),
        sa.Column("last_id", KEY, sa.ForeignKey("inspections.id"), nullable=False),
        sa.Column("last_standing", TEXT, nullable=False),
        sa.Column("last_at", TEXT, nullable=False),
    )
    op.execute(_LINES_SO_FAR)
    forbid_changes_but(
        "job_lines",
        same=("job_id",),
        erased="NEW.inspections = OLD.inspections + 1 AND NEW.last_id > OLD.last_id AND NEW.spots >= OLD.spots",
    )
    op.create_index("job_lines_by_standing", "job_lines", ["last_standing", "job_id"])
    op.create_index("events_by_kind", "events", ["kind"])
    corrected = sa.text("corrects IS NOT NULL")
    op.create_index(
        "inspections_by_corrects", "inspections", ["corrects"], sqlite_where=corrected, postgresql_where=corrected
    )
    for number, (first, length) in enumerate(_BANDS, start=1):
        op.create_index(f"photos_by_band_{number}", "photos", [sa.text(f"substr(picture_hash, {first}, {length})")])


_BANDS = ((1, 3), (4, 3), (7, 3), (10, 3), (13, 4))
"""First digit, and count of digits, of the five bands of a picture's hash."""

_LINES_SO_FAR = """
INSERT INTO job_lines (job_id, spots, inspections, last_id, last_standing, last_at)
SELECT so_far.job_id, (SELECT count(*) FROM spots WHERE spots.job_id = so_far.job_id), so_far.inspections, so_far.last_id,
    coalesce(
        (SELECT outlines.standing FROM outlines WHERE outlines.inspection_id = so_far.last_id AND outlines.spot_id IS NOT NULL),
        results.standing
    ),
    inspections.at
FROM (
    SELECT spots.job_id AS job_id, count(*) AS inspections, max(inspections.id) AS last_id
    FROM inspections JOIN passes ON passes.id = inspections.pass_id JOIN spots ON spots.id = passes.spot_id
    GROUP BY spots.job_id
) AS so_far
JOIN inspections ON inspections.id = so_far.last_id
JOIN results ON results.id = inspections.result_id
"""
