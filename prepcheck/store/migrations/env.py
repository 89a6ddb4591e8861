"""Run by Alembic: uses the connection, and the open transaction, that `prepcheck.store.migrate` hands over."""

from __future__ import annotations

from alembic import context

from prepcheck.store.migrate import VERSION_TABLE
from prepcheck.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    version_table=VERSION_TABLE,
)
with context.begin_transaction():
    context.run_migrations()
