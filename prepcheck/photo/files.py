"""Bytes of a file that a person names: regular files only, bounded, read once, never waited for."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from prepcheck.errors import AFolder, TooLarge, Unreadable

_WITHOUT_WAITING = getattr(os, "O_NONBLOCK", 0)


def read_bytes(path: Path, most: int) -> bytes:
    """Return the bytes of the regular file `path`.

    Parameters
    ----------
    path : Path
        A file, or a link to one. Pipes, sockets, devices and folders are refused without waiting on them.
    most : int
        Largest number of bytes that is read.

    Raises
    ------
    Unreadable
        Not there, no permission, a loop of links, or no regular file; `AFolder` for a folder.
    TooLarge
        More than `most` bytes.
    """
    name = path.name or str(path)
    try:
        with open(path, "rb", opener=_open_without_waiting) as file:
            _check(os.fstat(file.fileno()), most, name)
            data = file.read(most + 1)
    except IsADirectoryError as error:
        way = "prepcheck batch FOLDER --out OUT"
        raise AFolder("is a folder", "Name the photos in it, or look at all of them", name, command=way) from error
    except (OSError, ValueError) as error:
        raise Unreadable(_why(error), "Check the path and its permissions", name) from error
    if len(data) > most:
        raise TooLarge(_more_than(most), "Give a smaller file", name)
    return data


def _open_without_waiting(path: str, flags: int) -> int:
    return os.open(path, flags | _WITHOUT_WAITING)


def _check(status: os.stat_result, most: int, name: str) -> None:
    if not stat.S_ISREG(status.st_mode):
        raise Unreadable("is no regular file (a pipe, socket or device)", "Name a photo file", name)
    if status.st_size > most:
        raise TooLarge(_more_than(most), "Give a smaller file", name)


def _more_than(most: int) -> str:
    return f"holds more than {most / 1e6:,.0f} MB"


def _why(error: OSError | ValueError) -> str:
    words = error.strerror if isinstance(error, OSError) else "its name holds a zero byte"
    return f"cannot be read ({words})"
