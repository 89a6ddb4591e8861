"""Reading small files that a command is given."""

from __future__ import annotations

from pathlib import Path

from prepcheck.errors import Unreadable


def read_file(path: Path, most: int) -> bytes:
    """Return the bytes of a file, no more than `most` of them; `Unreadable` when that cannot be done."""
    try:
        with path.open("rb") as file:
            return file.read(most)
    except OSError as error:
        raise Unreadable(f"cannot be read ({error.strerror})", "Check the path", str(path)) from error
