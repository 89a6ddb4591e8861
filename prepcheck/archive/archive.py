"""Photo bytes under their SHA-256: written once, checked at each reading."""

from __future__ import annotations

import hashlib
import re
from abc import ABC, abstractmethod
from collections.abc import Iterator
from pathlib import Path

from prepcheck.archive.durable import make_folder, sync_folder, write_file
from prepcheck.errors import StoreFault, UnknownRecord
from prepcheck.store import os_fault

SUFFIXES = {
    "JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp", "TIFF": ".tif", "HEIC": ".heic", "MP4": ".mp4", "MOV": ".mov"
}  # fmt: skip
"""File name endings by format of a photo or clip; another format gets ``.bin``."""


class Archive(ABC):
    """Photos named by the SHA-256 of their bytes. Who keeps them somewhere fills in five small methods."""

    place: str
    """Where the photos are, for a person to read."""
    is_shared = False
    """Whether other machines reach it, too."""

    def put(self, data: bytes, format: str = "") -> str:
        """Keep `data`, unless it is kept already, and return its SHA-256 (hex).

        When this returns, the bytes are kept for good under their name, whatever happens to this program.

        Raises
        ------
        StoreFull, StoreFault
            No room, no permission, no answer; or the photo kept under this hash was changed by somebody.
        """
        sha256 = hashlib.sha256(data).hexdigest()
        if self.has(sha256) or not self._write(sha256, data, format):
            self.get(sha256)
        return sha256

    def get(self, sha256: str) -> bytes:
        """Return the bytes with this hash.

        Raises
        ------
        UnknownRecord
            There is no such photo.
        StoreFault
            It cannot be read, or its bytes are no longer those that were put in.
        """
        data = self._read(sha256) if _is_hash(sha256) else None
        if data is None:
            raise UnknownRecord("no such photo in the archive", "Check the store", sha256)
        if hashlib.sha256(data).hexdigest() != sha256:
            where = f"{self.place}: {sha256}"
            raise StoreFault("was changed since it was logged", "Bring it back from a backup", where)
        return data

    def has(self, sha256: str) -> bool:
        """Say whether something is kept under this hash; its bytes are not looked at."""
        return _is_hash(sha256) and self._has(sha256)

    def erase(self, sha256: str) -> None:
        """Take a photo away for a lawful reason; one that is not there is fine. The log says who erased it and why."""
        if _is_hash(sha256):
            self._remove(sha256)

    @abstractmethod
    def kept(self) -> Iterator[str]:
        """Give the hashes of all that is kept, in no order, without looking at the bytes."""

    @abstractmethod
    def _has(self, sha256: str) -> bool: ...

    @abstractmethod
    def _read(self, sha256: str) -> bytes | None: ...

    @abstractmethod
    def _write(self, sha256: str, data: bytes, format: str) -> bool:
        """Keep what is not kept yet; False when somebody else was first."""

    @abstractmethod
    def _remove(self, sha256: str) -> None: ...


class FolderArchive(Archive):
    """Photos in a folder; nothing is made before the first photo is put in.

    Parameters
    ----------
    folder : Path
        The photo ``abcd...`` lies in ``folder/ab/abcd....jpg``: written beside, synced, renamed, folder synced.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.place = str(folder)

    def kept(self) -> Iterator[str]:
        """Give the hashes of all files."""
        try:
            for path in self.folder.glob("??/*"):
                if _is_hash(path.stem):
                    yield path.stem
        except OSError as error:
            raise os_fault(error, self.folder) from error

    def _has(self, sha256: str) -> bool:
        return self._find(sha256) is not None

    def _read(self, sha256: str) -> bytes | None:
        path = self._find(sha256)
        try:
            return None if path is None else path.read_bytes()
        except OSError as error:
            raise os_fault(error, path or self.folder) from error

    def _write(self, sha256: str, data: bytes, format: str) -> bool:
        path = self.folder / sha256[:2] / (sha256 + SUFFIXES.get(format, ".bin"))
        try:
            make_folder(path.parent)
            write_file(path, data)
        except OSError as error:
            raise os_fault(error, path) from error
        return True

    def _remove(self, sha256: str) -> None:
        path = self._find(sha256)
        try:
            if path is not None:
                path.unlink(missing_ok=True)
                sync_folder(path.parent)
        except OSError as error:
            raise os_fault(error, path or self.folder) from error

    def _find(self, sha256: str) -> Path | None:
        try:
            return next((self.folder / sha256[:2]).glob(f"{sha256}.*"), None)
        except OSError as error:
            raise os_fault(error, self.folder) from error


def _is_hash(text: str) -> bool:
    return re.fullmatch("[0-9a-f]{64}", text) is not None
