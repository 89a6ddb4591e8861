"""What the file system and the database complain about, in one line for a person."""

from __future__ import annotations

import errno
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from prepcheck.errors import StoreBusy, StoreFault, StoreFull

_FULL = (errno.ENOSPC, errno.EDQUOT)
_LITTLE_ROOM = 256 * 1024
"""Bytes; with less than this left an input/output error of SQLite is taken for a full disk."""

_DAMAGED = ("is damaged", "Make a copy of the folder, then bring back the last good backup")
_PLAIN: dict[int, tuple[type[StoreFault], str, str]] = {
    sqlite3.SQLITE_BUSY: (StoreBusy, "is locked by another program", "Wait until that has ended, then try again"),
    sqlite3.SQLITE_LOCKED: (StoreBusy, "is locked by another program", "Wait until that has ended, then try again"),
    sqlite3.SQLITE_FULL: (
        StoreFull,
        "has no room left on its disk; nothing was logged",
        "Free some room, then try again",
    ),
    sqlite3.SQLITE_READONLY: (StoreFault, "may not be written to", "Ask for write permission, or use another store"),
    sqlite3.SQLITE_PERM: (StoreFault, "may not be opened", "Ask for permission, or use another store"),
    sqlite3.SQLITE_CANTOPEN: (StoreFault, "cannot be opened", "Check that the folder is there and may be written to"),
    sqlite3.SQLITE_CORRUPT: (StoreFault, *_DAMAGED),
    sqlite3.SQLITE_NOTADB: (StoreFault, "is no log of prepcheck, or is damaged", _DAMAGED[1]),
}


def os_fault(error: OSError, subject: Path | str) -> StoreFault:
    """Return the fault that says what the operating system refused on `subject`."""
    if error.errno in _FULL:
        return StoreFull("no room left on the disk; nothing was logged", "Free some room, then try again", str(subject))
    if isinstance(error, PermissionError) or error.errno == errno.EROFS:
        return StoreFault("no permission", "Ask for permission, or use another store", str(subject))
    what = (error.strerror or type(error).__name__).lower()
    return StoreFault(f"cannot be used as a store ({what})", "Check its path", str(subject), command="--store")


def sqlite_fault(error: sqlite3.Error, subject: Path) -> StoreFault:
    """Return the fault that says what SQLite refused on the file `subject`."""
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF  # the low byte names the kind
    if code == sqlite3.SQLITE_IOERR and _room(subject) < _LITTLE_ROOM:
        code = sqlite3.SQLITE_FULL
    kind, what, do = _PLAIN.get(code, (StoreFault, f"is refused by SQLite ({error})", _DAMAGED[1]))
    return kind(what, do, str(subject))


def _room(path: Path) -> int:
    try:
        return shutil.disk_usage(path.parent).free
    except OSError:
        return _LITTLE_ROOM


@contextmanager
def readable(subject: Path | str) -> Iterator[None]:
    """Turn what is raised by rows that prepcheck did not write into a `StoreFault` that names `subject`."""
    try:
        yield
    except ValueError as error:
        raise StoreFault("holds what prepcheck did not write", _DAMAGED[1], str(subject)) from error


@contextmanager
def faults(subject: Path) -> Iterator[None]:
    """Turn errors of SQLite and the file system into a `StoreFault` that names the file `subject`."""
    from sqlalchemy.exc import DBAPIError

    try:
        yield
    except DBAPIError as error:
        if isinstance(error.orig, sqlite3.Error):
            raise sqlite_fault(error.orig, subject) from error
        raise StoreFault(f"is refused by its database ({error.orig})", "Check the database", str(subject)) from error
    except sqlite3.Error as error:
        raise sqlite_fault(error, subject) from error
    except OSError as error:
        raise os_fault(error, subject) from error
