"""Where the photos of a batch come from: a folder or a zip file here; an object store in `prepcheck.batch.objects`.

A source lists lazily and twice the same, so a million entries need no memory; it holds nothing open between two calls and
can be pickled, so that a worker reads its own photos.
"""

from __future__ import annotations

import os
import posixpath
import zipfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import IO, Protocol

from prepcheck.archive.bag_names import name_fault
from prepcheck.archive.faults import LIMITS
from prepcheck.errors import DamagedPhoto, PrepcheckError, StillChanging, TooLarge, Unreadable, WrongUse
from prepcheck.photo.files import read_bytes

SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"})
"""Of photos; whatever else lies in a source, clips aside, is left out and counted."""
CLIPS = frozenset({".mp4", ".mov"})
"""Of clips of a torch sweep: each is one moved-light set."""
HIDDEN, NO_PHOTO, STRANGE_NAME = "hidden", "no photo by its name", "a name that no file may have"
"""Why something is left out."""
MOST_ENTRIES = 2_000_000
"""Of a zip file; its list is held in memory."""
_TRIES = 3
"""How often a photo is read that changes meanwhile."""


@dataclass(frozen=True)
class Item:
    """One entry of a source.

    Parameters
    ----------
    name : str
        Path below the source with ``/`` between folders, as it is: unchecked, and not always printable.
    size : int
        Bytes.
    stamp : str
        Differs when the bytes may have changed, such as a time of change or an ETag.
    left_out : str
        Why it is no work of a batch (`HIDDEN`, `NO_PHOTO` ...); empty for a photo.
    more : tuple of str
        Names of the other photos of the moved-light set of which this is the first; see `prepcheck.batch.sets`.
    """

    name: str
    size: int = 0
    stamp: str = ""
    left_out: str = ""
    more: tuple[str, ...] = ()

    @property
    def is_clip(self) -> bool:
        """Whether it is a clip, by its name."""
        return posixpath.splitext(self.name)[1].lower() in CLIPS

    @property
    def is_set(self) -> bool:
        """Whether it is a moved-light set: a clip, or several photos."""
        return self.is_clip or bool(self.more)


class Source(Protocol):
    """Where photos come from."""

    @property
    def name(self) -> str:
        """What a person calls it: path or address."""
        ...

    @property
    def is_shared(self) -> bool:
        """Whether other machines reach it, too."""
        ...

    def items(self) -> Iterator[Item]:
        """Yield every entry once, in any order, those left out too; an `Unreadable` or `WrongUse` if that cannot be had."""
        ...

    def read(self, item: Item) -> bytes:
        """Return the bytes of a photo; a `BrokenInput` when they cannot be had, are too many, or change meanwhile."""
        ...


@dataclass(frozen=True)
class Most:
    """How many bytes a photo may have, and how many a clip."""

    photo: int
    clip: int

    def of(self, item: Item) -> int:
        """Return how many an item may have."""
        return self.clip if item.is_clip else self.photo


def read_all(source: Source, item: Item) -> tuple[bytes, ...]:
    """Return the bytes of an item: of one file, or of each photo of a set in order; raises as `Source.read`."""
    return (source.read(item), *(source.read(Item(name)) for name in item.more))


def photos(source: Source) -> Iterator[Item]:
    """Yield the photos of a source."""
    return (item for item in source.items() if not item.left_out)


@dataclass(frozen=True)
class Survey:
    """How many photos a source has, with how many bytes, and what is left out, by reason."""

    photos: int
    bytes: int
    left_out: dict[str, int]


def survey(source: Source) -> Survey:
    """Count what a source has."""
    count, size, left_out = 0, 0, Counter[str]()
    for item in source.items():
        if item.left_out:
            left_out[item.left_out] += 1
        else:
            count, size = count + 1, size + item.size
    return Survey(count, size, dict(sorted(left_out.items())))


def why_left_out(name: str) -> str:
    """Say why an entry is no work of a batch, from its path alone; empty for a photo."""
    if any(part.startswith(".") or part == "__MACOSX" for part in name.split("/")):
        return HIDDEN
    return "" if posixpath.splitext(name)[1].lower() in SUFFIXES | CLIPS else NO_PHOTO


@dataclass(frozen=True)
class Folder:
    """The photos in a folder and those below it. Links to photos are followed, links to folders are not, so no loop is.

    Parameters
    ----------
    path : Path
        The folder.
    most : Most
        Bytes of one photo or clip.
    """

    path: Path
    most: Most
    is_shared = False

    @property
    def name(self) -> str:
        """Its path."""
        return str(self.path)

    def items(self) -> Iterator[Item]:
        """Yield all entries, folder by folder; hidden folders are one entry, a folder that cannot be listed is an error."""
        waiting = [""]
        while waiting:
            below = waiting.pop()
            for entry in _listed(self.path / below):
                name = below + entry.name
                if why_left_out(name) != HIDDEN and entry.is_dir(follow_symlinks=False):
                    waiting.append(f"{name}/")
                else:
                    yield _file_item(entry, name)

    def read(self, item: Item) -> bytes:
        """Return the bytes of a photo that did not change meanwhile."""
        path = self.path / item.name
        for _ in range(_TRIES):
            before = _stamp_of(path)
            data = read_bytes(path, self.most.of(item))
            if before == _stamp_of(path):
                return data
        raise StillChanging("changes while it is read", "Run again when it is copied", item.name)


def _listed(folder: Path) -> Iterator[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as entries:
            yield from entries
    except OSError as error:
        raise Unreadable(f"cannot be listed ({error.strerror})", "Check the folder", str(folder)) from error


def _file_item(entry: os.DirEntry[str], name: str) -> Item:
    why = why_left_out(name)
    if why:
        return Item(name, left_out=why)
    try:
        return Item(name, entry.stat().st_size, _stamp(entry.stat()))
    except OSError:  # a link to nowhere, or gone by now: reading it says why
        return Item(name)


def _stamp_of(path: Path) -> str:
    try:
        return _stamp(path.stat())
    except (OSError, ValueError):
        return ""


def _stamp(status: os.stat_result) -> str:
    return f"{status.st_size} {status.st_mtime_ns} {status.st_ctime_ns}"


@dataclass(frozen=True)
class Zip:
    """The photos in a zip file; nothing is unpacked to the disk, and no entry beyond the limits is unpacked at all.

    Parameters
    ----------
    path : Path
        The file.
    most : Most
        Bytes of one photo or clip, unpacked.
    """

    path: Path
    most: Most
    is_shared = False

    @property
    def name(self) -> str:
        """Its path."""
        return str(self.path)

    def items(self) -> Iterator[Item]:
        """Yield all entries but folders; of two with one name the later, which is the one that unpacking leaves."""
        with _opened(self.path) as file:
            last = {entry.filename: entry for entry in file.infolist() if not entry.is_dir()}
        for name, entry in last.items():
            why = STRANGE_NAME if name_fault(name) else why_left_out(name)
            yield Item(name, entry.file_size, f"{entry.file_size} {entry.CRC:08x}", why)

    def read(self, item: Item) -> bytes:
        """Return the bytes of an entry, held against its check sum; `TooLarge` for one that swells beyond the limits."""
        try:
            file = _kept_open(self.path, _stamp_of(self.path))
            entry = file.getinfo(item.name)
            _check_swelling(entry, item.name, self.most.of(item))
            with file.open(entry) as unpacked:
                return _at_most(unpacked, self.most.of(item), item.name)
        except PrepcheckError:
            raise
        except Exception as error:  # a parser of untrusted bytes raises anything
            raise DamagedPhoto("cannot be unpacked from its zip file", "Make the zip file again", item.name) from error


def _opened(path: Path) -> zipfile.ZipFile:
    try:
        file = zipfile.ZipFile(path)
    except (OSError, ValueError, zipfile.BadZipFile, NotImplementedError) as error:
        raise Unreadable("is no zip file, or a damaged one", "Give a folder or a zip file", str(path)) from error
    if len(file.filelist) > MOST_ENTRIES:
        file.close()
        raise TooLarge(f"holds more than {MOST_ENTRIES:,} entries", "Give several smaller files", str(path))
    return file


@lru_cache(maxsize=2)
def _kept_open(path: Path, stamp: str) -> zipfile.ZipFile:
    """Open a zip file once for all photos that a process reads from it; `stamp` changes with the file."""
    return _opened(path)


def _check_swelling(entry: zipfile.ZipInfo, name: str, most: int) -> None:
    if entry.file_size > most:
        raise TooLarge(f"holds more than {most / 1e6:,.0f} MB", "Give a smaller file", name)
    if entry.file_size > LIMITS.small and entry.file_size > LIMITS.ratio * max(entry.compress_size, 1):
        raise TooLarge(f"swells to more than {LIMITS.ratio} times its packed size", "Give the photo itself", name)


def _at_most(unpacked: IO[bytes], most: int, name: str) -> bytes:
    data = unpacked.read(most + 1)
    if len(data) > most:
        raise TooLarge(f"holds more than {most / 1e6:,.0f} MB", "Give a smaller file", name)
    return data


def open_source(path: Path, most: Most) -> Source:
    """Return the folder or zip file at `path` as a source.

    Raises
    ------
    WrongUse
        There is nothing of the kind.
    """
    if path.is_dir():
        return Folder(path, most)
    if path.is_file():
        return Zip(path, most)
    raise WrongUse("is neither a folder nor a zip file", "Name the folder with the photos", str(path))
