"""The PostgreSQL engine: writers take turns, readers see one moment, and what goes wrong is said in one line.

Importing this loads SQLAlchemy.
"""

from __future__ import annotations

import math
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.pool import NullPool

from prepcheck.errors import StoreBusy, StoreFault, StoreFull
from prepcheck.settings import StoreSettings
from prepcheck.store.address import password_in, shown

READING = {"reading": True, "isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
"""Options of a connection that only reads: all its statements see the log as it was at the first."""

_TURN = 0x70726570
"""Marks our advisory locks among those of other programs; the second half of the lock is the schema."""
_BEGIN_WRITING = (
    "SET LOCAL lock_timeout = {wait};"
    "SELECT set_config('synchronous_commit', 'on', true) WHERE current_setting('synchronous_commit') = 'off';"
    f"SELECT pg_advisory_xact_lock({_TURN}, current_schema()::regnamespace::oid::int)"
)
"""The wait has to come before the lock, and what is read after it is new: so READ COMMITTED, and no snapshot before."""
_SILENCE_MS = 30_000
"""After which a server that no longer answers is given up."""


def make_engine(database: str, settings: StoreSettings) -> sa.Engine:
    """Return an engine for the database at an address; it opens a connection for each transaction and keeps none.

    Writers take turns by a lock that ends with the transaction, so that what they read stays true until they commit.

    Raises
    ------
    StoreFault
        The driver is not installed.
    """
    try:
        engine = sa.create_engine(_url(database), poolclass=NullPool, connect_args=_connect_args(settings))
    except ModuleNotFoundError:
        raise StoreFault(
            "lies on a PostgreSQL server, and the part that speaks to it is not installed",
            "Install prepcheck[postgres]",
            shown(database),
        ) from None
    wait = max(1, round(settings.busy_seconds * 1000))  # 0 would wait for ever

    def begin(connection: sa.Connection) -> None:
        if not connection.get_execution_options().get("reading", False):
            connection.exec_driver_sql(_BEGIN_WRITING.format(wait=wait))

    event.listen(engine, "begin", begin)
    event.listen(engine, "connect", lambda connection, _: _check_encoding(connection, shown(database)))
    return engine


def server_fault(error: BaseException | None, subject: str, *, at_commit: bool = False) -> StoreFault:
    """Return the fault that says what the server refused.

    Parameters
    ----------
    error : BaseException or None
        From the driver.
    subject : str
        The address as it may be shown.
    at_commit : bool
        Whether it came while all was to be written for good: after a lost connection nobody knows whether it was.
    """
    state = str(getattr(error, "sqlstate", None) or "")
    if not state or state.startswith("08") or state in _GOING_DOWN:
        return _lost(error, subject, at_commit)
    kind, what, do = _PLAIN.get(state) or _PLAIN.get(state[:2]) or (StoreFault, _refusal(error), "Check the database")
    return kind(what, do, subject)


def _url(database: str) -> sa.URL:
    parts = urlsplit(database)
    return sa.URL.create(
        "postgresql+psycopg",
        username=unquote(parts.username) if parts.username else None,
        password=password_in(database) or None,
        host=unquote(parts.hostname) if parts.hostname else None,
        port=parts.port,
        database=unquote(parts.path.strip("/")),
        query=dict(parse_qsl(parts.query, keep_blank_values=True)),
    )


def _connect_args(settings: StoreSettings) -> dict[str, Any]:
    return {
        "application_name": "prepcheck",
        "client_encoding": "utf8",
        "connect_timeout": max(2, math.ceil(settings.busy_seconds)),
        "tcp_user_timeout": _SILENCE_MS,
    }


def _check_encoding(connection: Any, subject: str) -> None:
    found = connection.info.parameter_status("server_encoding")
    if found != "UTF8":
        raise StoreFault(
            f"keeps text as {found}, which cannot hold every name",
            "Make the database anew with the encoding UTF8",
            subject,
        )


_GOING_DOWN = ("57P01", "57P02", "57P03", "57P05", "25P03", "25P04")
_TAKE_TURNS = "was changed by another program at the same moment; nothing was logged"
_NO_WRITING = (StoreFault, "may not be written to", "Ask for write permission, or use another store")
_PLAIN: dict[str, tuple[type[StoreFault], str, str]] = {
    "55P03": (StoreBusy, "is locked by another program", "Wait until that has ended, then try again"),
    "40": (StoreBusy, _TAKE_TURNS, "Try again"),
    "53300": (StoreBusy, "has no connection left on its server", "Wait a moment, then try again"),
    "53100": (StoreFull, "has no room left on its server; nothing was logged", "Free some room, then try again"),
    "53": (StoreFault, "is refused by a server that is short of means; nothing was logged", "Try again later"),
    "25006": _NO_WRITING,
    "42501": _NO_WRITING,
    "3D000": (StoreFault, "is not there on its server", "Make the database first, or check the address"),
    "3F000": (StoreFault, "has no schema to keep a log in", "Ask whoever runs the database"),
    "28": (StoreFault, "does not let this user in", "Check user and password (PGPASSWORD or ~/.pgpass)"),
    "XX": (StoreFault, "is damaged", "Bring back the last good backup of the database"),
}
"""By SQLSTATE, or by its class (PostgreSQL documentation, appendix A)."""


def _lost(error: BaseException | None, subject: str, at_commit: bool) -> StoreFault:
    if at_commit:
        what = "lost its server just when it was to be logged; nobody knows whether it was"
        return StoreFault(what, "Look whether it is there before you log it again", subject)
    do = "Check the network, user and password (PGPASSWORD or ~/.pgpass), and that the server runs; then try again"
    return StoreFault(f"cannot be reached, and nothing was logged ({_told(error)})", do, subject)


def _refusal(error: BaseException | None) -> str:
    return f"is refused by its server ({_told(error)})"


def _told(error: BaseException | None) -> str:
    """Return the first line of what the driver says, without the full stop."""
    lines = str(error).strip().splitlines()
    return lines[0].strip().rstrip(".") if lines else type(error).__name__
