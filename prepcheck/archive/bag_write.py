"""Writes a bag by RFC 8493, as a folder or a zip file: beside its place, synced, then renamed, so that it is never half."""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, nullcontext, suppress
from glob import escape
from pathlib import Path
from typing import Protocol

from prepcheck.archive.bag_names import encode, name_fault
from prepcheck.archive.bag_parts import DECLARATION
from prepcheck.archive.durable import make_folder, sync_folder, write_new
from prepcheck.errors import NameClash, StoreFault, StoreFull
from prepcheck.store import os_fault

try:
    import fcntl
except ImportError:  # Windows has no such lock; there nothing that was left is removed
    fcntl = None  # type: ignore[assignment]

MANIFEST, TAG_MANIFEST = "manifest-sha256.txt", "tagmanifest-sha256.txt"
_PART = ".part"
_ALL_ALIKE = (1980, 1, 1, 0, 0, 0)
"""Time of every entry of a zip file: the time that counts is the one that is signed."""


class Sink(Protocol):
    """Where files go."""

    def write(self, path: str, data: bytes) -> None:
        """Write one file."""


class BagWriter:
    """Puts files into a bag and keeps the books: payload first, then `close_payload`, then tag files, then `close`.

    Parameters
    ----------
    sink : Sink
        From `bag_place`.
    """

    def __init__(self, sink: Sink) -> None:
        self._sink = sink
        self._payload: dict[str, str] = {}
        self._tags: dict[str, str] = {}
        self._octets = 0

    def payload(self, path: str, data: bytes) -> str:
        """Write a file below ``data/`` and return its SHA-256."""
        return self._write(f"data/{path}", data, self._payload)

    def close_payload(self, info: Mapping[str, str]) -> str:
        """Write ``bagit.txt``, ``bag-info.txt`` and the payload manifest; return the manifest's SHA-256."""
        told = {**info, "Payload-Oxum": f"{self._octets}.{len(self._payload)}"}
        self.tag("bagit.txt", DECLARATION.encode())
        self.tag(
            "bag-info.txt", "".join(f"{label}: {' '.join(text.split())}\n" for label, text in told.items()).encode()
        )
        return self.tag(MANIFEST, _lines(self._payload))

    def tag(self, path: str, data: bytes) -> str:
        """Write a tag file and return its SHA-256."""
        return self._write(path, data, self._tags)

    def close(self) -> bytes:
        """Write the tag manifest and return it."""
        text = _lines(self._tags)
        self._sink.write(TAG_MANIFEST, text)
        return text

    def beside(self, path: str, data: bytes) -> None:
        """Write a tag file that no manifest lists, such as the signature of the tag manifest."""
        self._sink.write(path, data)

    def _write(self, path: str, data: bytes, books: dict[str, str]) -> str:
        wrong = name_fault(path)
        if wrong is not None or path in books:
            raise StoreFault(wrong or "is put into the bag twice", "Report this as a fault of prepcheck", path)
        self._sink.write(path, data)
        books[path] = hashlib.sha256(data).hexdigest()
        self._octets += len(data) if books is self._payload else 0
        return books[path]


def _lines(hashes: Mapping[str, str]) -> bytes:
    return "".join(f"{hashes[path]}  {encode(path)}\n" for path in sorted(hashes)).encode()


@contextmanager
def bag_place(
    place: Path, *, as_zip: bool, owner: str = "0" * 8, before_move: Callable[[Path], None] = lambda _: None
) -> Iterator[Sink]:
    """Open a place beside `place` to write a bag into.

    When the block ends well, all is synced, `before_move` is called with where the bag lies, and the bag gets its name; else
    nothing is left. Should only the renaming fail, the bag stays beside, whole: see `beside_of`. What a kill leaves bears
    the 8 letters of its `owner`: see `remove_stale`.

    Raises
    ------
    NameClash
        There is something at `place`; it is never replaced.
    StoreFull, StoreFault
        The disk is full, or the place cannot be written.
    """
    check_free(place)
    beside = place.with_name(f".{place.name}.{owner}{secrets.token_hex(4)}{_PART}")
    try:
        if not place.parent.exists():
            make_folder(place.parent)
        beside.touch(exist_ok=False) if as_zip else beside.mkdir()
        with _held(beside):
            try:
                with _zip_sink(beside, place.stem) if as_zip else _folder_sink(beside) as sink:
                    yield sink
                sync_folder(place.parent)
                before_move(beside)
            except BaseException:
                _remove(beside)
                raise
            move(beside, place)
    except OSError as error:
        fault = os_fault(error, place)
        if isinstance(fault, StoreFull):
            raise fault from error
        why = (error.strerror or type(error).__name__).lower()
        raise StoreFault(f"cannot be written ({why})", "Choose another --out", str(place)) from error


def check_free(place: Path) -> None:
    """Raise `NameClash` when there is something at `place`."""
    if place.exists() or place.is_symlink():
        raise NameClash("is there already; sealed evidence is never replaced", "Choose another --out", str(place))


def move(beside: Path, place: Path) -> None:
    """Give a finished bag its name."""
    check_free(place)
    beside.rename(place)
    with suppress(OSError):  # a name lost in a power cut is given again by the next seal
        sync_folder(place.parent)


def beside_of(place: Path) -> list[Path]:
    """Return what was left beside `place` when writing a bag there was cut off."""
    return sorted(place.parent.glob(f".{escape(place.name)}.{'?' * 16}{_PART}"))


def remove_stale(folder: Path, owner: str, keep: Callable[[Path], bool]) -> None:
    """Remove what killed seals of an `owner` left in a folder.

    What another process is writing stays: it holds it, and a hold ends with its process however that ends. So does what
    `keep` says, which is asked while nobody else can go on with it.
    """
    for beside in sorted(folder.glob(f".*.{owner}{'?' * 8}{_PART}")):
        with suppress(OSError), _held(beside, wait=False):
            if _begun(beside) and not keep(beside):
                _remove(beside)


@contextmanager
def _held(beside: Path, *, wait: bool = True) -> Iterator[None]:
    """Hold a file or folder; without `wait` an `OSError` when it is held by another, or where nothing can be held."""
    if fcntl is None:
        if not wait:
            raise OSError
        yield
        return
    descriptor = os.open(beside, os.O_RDONLY)
    try:
        with suppress(OSError) if wait else nullcontext():
            fcntl.flock(descriptor, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        yield
    finally:
        os.close(descriptor)


def _begun(beside: Path) -> bool:
    """Whether anything was written yet; before that its writer may not hold it."""
    return any(beside.iterdir()) if beside.is_dir() else beside.stat().st_size > 0


class _Folder:
    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def write(self, path: str, data: bytes) -> None:
        place = self.folder / path
        place.parent.mkdir(parents=True, exist_ok=True)
        write_new(place, data)


@contextmanager
def _folder_sink(folder: Path) -> Iterator[Sink]:
    yield _Folder(folder)
    for inside, _, _ in os.walk(folder):
        sync_folder(Path(inside))


class _Zip:
    def __init__(self, file: zipfile.ZipFile, inside: str) -> None:
        self.file, self.inside = file, inside

    def write(self, path: str, data: bytes) -> None:
        entry = zipfile.ZipInfo(f"{self.inside}/{path}", _ALL_ALIKE)
        entry.external_attr = 0o100444 << 16
        self.file.writestr(entry, data)


@contextmanager
def _zip_sink(path: Path, inside: str) -> Iterator[Sink]:
    """Write entries as they are, unpacked: photos do not get smaller, and plain entries can be read by anything."""
    with path.open("wb") as raw:
        with zipfile.ZipFile(raw, "w", zipfile.ZIP_STORED) as file:
            yield _Zip(file, inside)
        raw.flush()
        os.fsync(raw.fileno())


def _remove(beside: Path) -> None:
    if beside.is_dir():
        shutil.rmtree(beside, ignore_errors=True)
    else:
        beside.unlink(missing_ok=True)
