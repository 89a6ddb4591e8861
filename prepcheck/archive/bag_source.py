"""A bag as a folder or a zip file: which files it holds, and their bytes. Nothing is ever unpacked onto the disk."""

from __future__ import annotations

import lzma
import os
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol, TypeVar

from prepcheck.archive.bag_names import name_fault
from prepcheck.archive.faults import LIMITS, Fault, Kind
from prepcheck.errors import BrokenBag

_Item = TypeVar("_Item")

CHUNK = 2**20
_GIVE = "Give the folder or the zip file that prepcheck sealed"
_ENCRYPTED = 0x1
_BROKEN = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, RuntimeError, ValueError, struct.error)
"""What reading a damaged entry of a zip file raises."""


_END_RECORD = struct.Struct("<4s16xH")
"""Signature and length of the comment in the record that ends a zip file."""


class Source(Protocol):
    """Where a bag's files come from."""

    @property
    def sizes(self) -> dict[str, int]:
        """Bytes of each file that can be read, by its path with ``/``."""

    @property
    def faults(self) -> list[Fault]:
        """What is there and cannot be used."""

    def has_folder(self, name: str) -> bool:
        """Say whether there is a folder, even an empty one."""

    def chunks(self, path: str) -> Iterator[bytes]:
        """Yield the bytes of a file; an `OSError` when they cannot be had."""


@dataclass
class _Listing:
    """Files found, held against the limits."""

    sizes: dict[str, int] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    total: int = 0

    def add(self, path: str, size: int) -> bool:
        """Take a file in, unless something speaks against it."""
        over = size > LIMITS.file_bytes or self.total + size > LIMITS.total_bytes
        if path in self.sizes:
            self.faults.append(Fault(Kind.NAME, path, "is there twice under the same name"))
        elif (wrong := name_fault(path)) is not None:
            self.faults.append(Fault(Kind.NAME, path, wrong))
        elif over:
            self.faults.append(Fault(Kind.LIMIT, path, f"is too large to be read ({size:,} bytes)"))
        else:
            self.sizes[path] = size
            self.total += size
            return True
        return False

    def limited(self, items: Iterable[_Item]) -> Iterator[_Item]:
        """Yield as many of what is in the bag as is read, and tell when there is more."""
        for count, item in enumerate(items):
            if count == LIMITS.files:
                told = f"holds more than {LIMITS.files:,} files and folders; the rest was not read"
                self.faults.append(Fault(Kind.LIMIT, "the bag", told))
                return
            yield item


class FolderSource:
    """A bag that lies unpacked in `folder`; links are not followed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._listing = _Listing()
        for entry, path in self._listing.limited(self._walk()):
            self._take(entry, path)

    @property
    def sizes(self) -> dict[str, int]:
        """Bytes of each file."""
        return self._listing.sizes

    @property
    def faults(self) -> list[Fault]:
        """Links, special files, names that cannot be used."""
        return self._listing.faults

    def has_folder(self, name: str) -> bool:
        """Say whether there is a folder, even an empty one."""
        return (self.folder / name).is_dir()

    def chunks(self, path: str) -> Iterator[bytes]:
        """Yield the bytes of a file that is no link."""
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
        with os.fdopen(os.open(self.folder / path, flags), "rb") as file:
            while chunk := file.read(CHUNK):
                yield chunk

    def _walk(self) -> Iterator[tuple[os.DirEntry[str], str]]:
        """Yield what lies in the bag, with its path; folders are walked where their names can be used."""
        left = [""]
        while left:
            inside = left.pop()
            try:
                with os.scandir(self.folder / inside) as found:
                    for entry in found:
                        path = f"{inside}/{entry.name}".lstrip("/")
                        yield entry, path
                        left += [path] if entry.is_dir(follow_symlinks=False) and name_fault(path) is None else []
            except OSError as error:
                self.faults.append(Fault(Kind.FORM, inside or ".", f"cannot be read ({error.strerror})"))

    def _take(self, entry: os.DirEntry[str], path: str) -> None:
        status = entry.stat(follow_symlinks=False)
        if stat.S_ISREG(status.st_mode):
            self._listing.add(path, status.st_size)
        elif not stat.S_ISDIR(status.st_mode):
            self.faults.append(Fault(Kind.NAME, path, "is a link or no file; it was not followed"))
        elif (wrong := name_fault(path)) is not None:
            self.faults.append(Fault(Kind.NAME, path, wrong))


class ZipSource:
    """A bag in a zip file; it may lie in one folder inside.

    Raises
    ------
    BrokenBag
        No zip file, or one whose list of contents is damaged.
    """

    def __init__(self, path: Path) -> None:
        try:
            self._zip = zipfile.ZipFile(path)
        except (zipfile.BadZipFile, ValueError, NotImplementedError) as error:
            raise BrokenBag(f"is no zip file that can be read ({error})", _GIVE, str(path)) from error
        self._listing = _Listing()
        self._entries: dict[str, zipfile.ZipInfo] = {}
        self.inside = _common_folder([entry.filename for entry in self._zip.infolist()])
        """The folder inside, with its slash, that the bag lies in."""
        if self._zip.infolist() and not _ends_alone(path, self._zip):
            told = "the zip file holds bytes before, behind or beside its files"
            self._listing.faults.append(Fault(Kind.ADDED, "the bag", told))
        for entry in self._listing.limited(self._zip.infolist()):
            self._take(entry, entry.orig_filename.removeprefix(self.inside))

    @property
    def sizes(self) -> dict[str, int]:
        """Bytes of each file, as the zip file says."""
        return self._listing.sizes

    @property
    def faults(self) -> list[Fault]:
        """Encrypted entries, links, bombs, names that cannot be used."""
        return self._listing.faults

    def has_folder(self, name: str) -> bool:
        """Say whether there is a folder, even an empty one."""
        return any(f"/{name}/" in f"/{entry.filename}" for entry in self._zip.infolist())

    def chunks(self, path: str) -> Iterator[bytes]:
        """Yield the bytes of an entry, never more than it says it has."""
        left = self.sizes[path]
        try:
            with self._zip.open(self._entries[path]) as file:
                while chunk := file.read(CHUNK):
                    left -= len(chunk)
                    if left < 0:
                        raise OSError("unpacks to more than it says")
                    yield chunk
        except _BROKEN as error:
            raise OSError(str(error) or type(error).__name__) from error

    def _take(self, entry: zipfile.ZipInfo, path: str) -> None:
        mode = entry.external_attr >> 16
        if entry.is_dir() and (wrong := name_fault(path.rstrip("/") or "data")) is None:
            return
        if stat.S_IFMT(mode) not in (0, stat.S_IFREG, stat.S_IFDIR):
            self.faults.append(Fault(Kind.NAME, path, "is a link or no file; it was not followed"))
        elif entry.flag_bits & _ENCRYPTED:
            self.faults.append(Fault(Kind.FORM, path, "is encrypted, so that it cannot be checked"))
        elif entry.file_size > max(LIMITS.small, entry.compress_size * LIMITS.ratio):
            told = f"would unpack from {entry.compress_size:,} to {entry.file_size:,} bytes"
            self.faults.append(Fault(Kind.LIMIT, path, told))
        elif entry.is_dir():
            self.faults.append(Fault(Kind.NAME, path, str(wrong)))
        elif self._listing.add(path, entry.file_size):
            self._entries[path] = entry


def _ends_alone(path: Path, file: zipfile.ZipFile) -> bool:
    """Say whether a zip file begins with its first entry and ends with its end record, without a comment."""
    with path.open("rb") as raw:
        raw.seek(-_END_RECORD.size, os.SEEK_END)
        signature, comment = _END_RECORD.unpack(raw.read())
    return signature == b"PK\5\6" and comment == 0 and min(one.header_offset for one in file.infolist()) == 0


def open_source(path: Path) -> Source:
    """Open a bag.

    Raises
    ------
    BrokenBag
        Not there, no permission, neither a folder nor a zip file.
    """
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            return FolderSource(path)
        if stat.S_ISREG(mode):
            return ZipSource(path)
    except OSError as error:
        raise BrokenBag(f"cannot be read ({error.strerror or error})", _GIVE, str(path)) from error
    raise BrokenBag("is neither a folder nor a file", _GIVE, str(path))


def read(source: Source, path: str) -> bytes:
    """Return the bytes of a file that is read as a whole; an `OSError` when it is too large or cannot be read."""
    if source.sizes[path] > LIMITS.tag_bytes:
        raise OSError("is too large to be read as a whole")
    return b"".join(source.chunks(path))


def _common_folder(names: list[str]) -> str:
    """Return the one folder, with its slash, that the bag lies in; empty when it lies at the top."""
    tops = {name.split("/", 1)[0] for name in names}
    top = next(iter(tops), "")
    return f"{top}/" if len(tops) == 1 and f"{top}/bagit.txt" in names else ""
