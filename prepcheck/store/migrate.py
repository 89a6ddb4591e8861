"""Brings a log up to date. Alembic is loaded only when there is something to do."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

from prepcheck.errors import StoreFault, StoreNewer

VERSION_TABLE = "prepcheck_version"
HEAD = "v0006_person_lines"
"""The newest migration."""
_VERSIONS = Path(__file__).parent / "migrations" / "versions"


def is_current(connection: sa.Connection, subject: str) -> bool:
    """Say whether the log is of this version.

    Raises
    ------
    StoreNewer
        It was written by a newer version.
    StoreFault
        The file is a database of something else.
    """
    found = _revision(connection, subject)
    if found is not None and found not in _known():
        raise StoreNewer(f"was written by a newer version of prepcheck ({found[:40]})", "Install that version", subject)
    return found == HEAD


def is_log(connection: sa.Connection) -> bool:
    """Say whether there is a log of any version."""
    return VERSION_TABLE in sa.inspect(connection).get_table_names()


def upgrade(connection: sa.Connection) -> None:
    """Run what is missing inside the open transaction of `connection`: all of it or nothing."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "prepcheck.store:migrations")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _known() -> set[str]:
    return {path.stem for path in _VERSIONS.glob("v*.py")}


def _revision(connection: sa.Connection, subject: str) -> str | None:
    tables = sa.inspect(connection).get_table_names()
    if VERSION_TABLE in tables:
        found = connection.scalar(sa.text(f"SELECT version_num FROM {VERSION_TABLE}"))
        return None if found is None else str(found)
    if tables:
        raise StoreFault("is a database, but no log of prepcheck", "Check the path", subject, command="--store")
    return None
