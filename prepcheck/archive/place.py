"""Where the photos of a log are: in its own folder, or where the file ``photos.toml`` beside the log says.

::

    place = "s3://shop-photos/log"
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

from prepcheck.archive.archive import Archive, FolderArchive
from prepcheck.archive.bucket import is_address, open_bucket
from prepcheck.archive.durable import sync_folder, write_file
from prepcheck.archive.object_archive import ObjectArchive
from prepcheck.errors import BadSettings, WrongUse
from prepcheck.own_file import read_text
from prepcheck.store import PHOTO_FOLDER, os_fault

PLACE_FILE = "photos.toml"
HERE = "folder"
"""Word for the folder of the log itself."""
_MOST_BYTES = 4_000


def open_archive(folder: Path) -> Archive:
    """Open the archive of the log in `folder`; neither a folder is made nor a server asked.

    Raises
    ------
    BadSettings
        ``photos.toml`` is there and does not say where the photos are.
    WrongUse
        The place cannot be used; see `prepcheck.archive.bucket.open_bucket`.
    """
    file = folder / PLACE_FILE
    return archive_at(folder, _read(file) if file.exists() else HERE)


def archive_at(folder: Path, place: str) -> Archive:
    """Return the archive of the log in `folder` as it is, or would be, at `place`: an address, or the word ``folder``."""
    if place == HERE:
        return FolderArchive(folder / PHOTO_FOLDER)
    if not is_address(place) or place.startswith("file:"):
        raise WrongUse("is no place for photos", f"Give an address like s3://bucket/folder, or: {HERE}", place)
    return ObjectArchive(open_bucket(place))


def move_photos(folder: Path, place: str) -> tuple[Archive, int]:
    """Copy all photos of a log to `place`, check each, and from then on keep and find them there.

    The old ones stay where they are, for a person to delete. Cut short at any moment, the log still finds its photos.

    Returns
    -------
    Archive, int
        The new archive, and how many photos are in it that the log had.

    Raises
    ------
    WrongUse
        They are there already, or the place cannot be used.
    StoreFault
        A photo was changed, or the new place does not take it; the log goes on with the old one.
    """
    old, new = open_archive(folder), archive_at(folder, place)
    if old.place == new.place:
        raise WrongUse("the photos are there already", "Name another place", new.place)
    for sha256 in old.kept():
        new.put(old.get(sha256))
    _say(folder, place)
    return new, _follow(old, new)


def _follow(old: Archive, new: Archive) -> int:
    """Bring what was logged during the move, too; return how many photos there are."""
    count = 0
    for sha256 in old.kept():
        count += 1
        if not new.has(sha256):
            new.put(old.get(sha256))
    return count


def _say(folder: Path, place: str) -> None:
    file = folder / PLACE_FILE
    try:
        if place == HERE:
            file.unlink(missing_ok=True)
            sync_folder(folder)
        else:
            write_file(file, f"place = {json.dumps(place)}\n".encode(), 0o644)
    except OSError as error:
        raise os_fault(error, file) from error


def _read(file: Path) -> str:
    text = read_text(file, _MOST_BYTES, BadSettings)
    try:
        told = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadSettings(f"is no TOML file ({error})", "Mend the file", str(file)) from error
    if set(told) != {"place"} or not isinstance(told["place"], str):
        raise BadSettings(
            "does not say where the photos are", 'Write one line: place = "s3://bucket/folder"', str(file)
        )
    return told["place"]
