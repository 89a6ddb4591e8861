"""Writes output files whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from prepcheck.errors import CannotWrite


def write_whole(path: Path, data: bytes) -> None:
    """Write `data` beside `path` and move it there; the folder is made when missing.

    Raises
    ------
    CannotWrite
        The folder or file cannot be written.
    """
    with written_whole(path) as file:
        file.write(data)


@contextmanager
def written_whole(path: Path) -> Iterator[BinaryIO]:
    """Open a file beside `path` for writing that is moved there at the end, or is gone after an error; as `write_whole`."""
    try:
        make_folder(path.parent)
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=".prepcheck-")
        try:
            with os.fdopen(handle, "wb") as file:
                yield file
            Path(beside).chmod(0o644)
            Path(beside).replace(path)
        except BaseException:
            Path(beside).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise CannotWrite(f"cannot be written ({error.strerror})", "Choose another place", str(path)) from error


def make_folder(folder: Path) -> None:
    """Make `folder` unless it is there; `CannotWrite` when files cannot be added to it."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        reached = os.access(folder, os.W_OK | os.X_OK)
    except OSError as error:
        raise CannotWrite(f"cannot be written to ({error.strerror})", "Choose another place", str(folder)) from error
    if not reached:
        raise CannotWrite("cannot be written to (no permission)", "Choose another place", str(folder))
