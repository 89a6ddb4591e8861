"""Files and folders that are still there after a power cut, and never half."""

from __future__ import annotations

import os
import secrets
from pathlib import Path


def make_folder(folder: Path) -> None:
    """Make `folder` and those above it so that they are still there after a power cut."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def write_file(path: Path, data: bytes, mode: int = 0o444) -> None:
    """Write `data` beside, sync it, rename it to `path`, sync the folder; what stood there before is replaced.

    Parameters
    ----------
    mode : int
        Rights of the file, from the moment it is made.
    """
    beside = path.with_name(f".{path.name}.{secrets.token_hex(8)}.part")
    try:
        write_new(beside, data, mode)
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def write_new(path: Path, data: bytes, mode: int = 0o444) -> None:
    """Write and sync a file that is not there yet; its folder is not synced."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Sync the names in a folder; Windows cannot and need not."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
