"""What each person logged in each job, so that a list of people need not read a log of a million inspections."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from prepcheck.store.columns import KEY
from prepcheck.store.migrations.append_only import forbid_changes_but

revision = "v0006_person_lines"
down_revision = "v0005_tree_blocks"


def upgrade() -> None:
    """Make the table with a line for each person in each job that they logged photos in, which may only move forward."""
    op.create_table(
        "person_lines",
        sa.Column("person_id", KEY, sa.ForeignKey("people.id"), primary_key=True, autoincrement=False),
        sa.Column("job_id", KEY, sa.ForeignKey("jobs.id"), primary_key=True, autoincrement=False),
        sa.Column("inspections", sa.Integer, nullable=False),
        sa.Column("first_id", KEY, sa.ForeignKey("inspections.id"), nullable=False),
        sa.Column("last_id", KEY, sa.ForeignKey("inspections.id"), nullable=False),
    )
    op.execute(_LINES_SO_FAR)
    forbid_changes_but(
        "person_lines",
        same=("person_id", "job_id", "first_id"),
        erased="NEW.inspections = OLD.inspections + 1 AND NEW.last_id > OLD.last_id",
    )


_LINES_SO_FAR = """
INSERT INTO person_lines (person_id, job_id, inspections, first_id, last_id)
SELECT inspections.person_id, spots.job_id, count(*), min(inspections.id), max(inspections.id)
FROM inspections JOIN passes ON passes.id = inspections.pass_id JOIN spots ON spots.id = passes.spot_id
GROUP BY inspections.person_id, spots.job_id
"""
