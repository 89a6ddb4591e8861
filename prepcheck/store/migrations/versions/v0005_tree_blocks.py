"""The roots of whole blocks of leaves, so that the tree's head need not hash a large log anew."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from prepcheck.store.columns import HASH, KEY
from prepcheck.store.leaves import BLOCK, add_block
from prepcheck.store.migrations.append_only import forbid_changes

revision = "v0005_tree_blocks"
down_revision = "v0004_large_logs"


def upgrade() -> None:
    """Make the table, with a row for each block that is whole already."""
    op.create_table(
        "tree_blocks",
        sa.Column("id", KEY, primary_key=True, autoincrement=False),
        sa.Column("hash", HASH, nullable=False),
    )
    forbid_changes("tree_blocks")
    connection = op.get_bind()
    leaves = connection.scalar(sa.text("SELECT count(*) FROM leaves")) or 0
    for _ in range(leaves // BLOCK):
        add_block(connection)
