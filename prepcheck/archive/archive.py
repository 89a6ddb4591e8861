"""Photo bytes under their SHA-256: written once, checked at each reading."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from prepcheck.archive.durable import make_folder, sync_folder, write_file
from prepcheck.errors import StoreFault, UnknownRecord
from prepcheck.store import os_fault

SUFFIXES = {
    "JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp", "TIFF": ".tif", "HEIC": ".heic", "MP4": ".mp4", "MOV": ".mov"
}  # fmt: skip
"""File name endings by format of a photo or clip; another format gets ``.bin``."""


class Archive:
    """A folder of photos named by the SHA-256 of their bytes; nothing is made before the first photo is put in.

    Parameters
    ----------
    folder : Path
        The photo ``abcd...`` lies in ``folder/ab/abcd....jpg``.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def put(self, data: bytes, format: str = "") -> str:
        """Keep `data`, unless it is kept already, and return its SHA-256 (hex).

        When this returns, the bytes and their name are on the disk: written beside, synced, renamed, folder synced.

        Raises
        ------
        StoreFull, StoreFault
            No room, no permission; or the photo kept under this hash was changed by somebody.
        """
        sha256 = hashlib.sha256(data).hexdigest()
        if self._find(sha256) is not None:
            self.get(sha256)
            return sha256
        path = self.folder / sha256[:2] / (sha256 + SUFFIXES.get(format, ".bin"))
        try:
            make_folder(path.parent)
            write_file(path, data)
        except OSError as error:
            raise os_fault(error, path) from error
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
        path = self._find(sha256)
        if path is None:
            raise UnknownRecord("no such photo in the archive", "Check the store", sha256)
        try:
            data = path.read_bytes()
        except OSError as error:
            raise os_fault(error, path) from error
        if hashlib.sha256(data).hexdigest() != sha256:
            raise StoreFault("was changed since it was logged", "Bring it back from a backup", str(path))
        return data

    def has(self, sha256: str) -> bool:
        """Say whether a file with this hash is kept; its bytes are not looked at."""
        return self._find(sha256) is not None

    def erase(self, sha256: str) -> None:
        """Take a photo away for a lawful reason; one that is not there is fine. The log says who erased it and why."""
        path = self._find(sha256)
        try:
            if path is not None:
                path.unlink(missing_ok=True)
                sync_folder(path.parent)
        except OSError as error:
            raise os_fault(error, path or self.folder) from error

    def _find(self, sha256: str) -> Path | None:
        if not re.fullmatch("[0-9a-f]{64}", sha256):
            return None
        try:
            return next((self.folder / sha256[:2]).glob(f"{sha256}.*"), None)
        except OSError as error:
            raise os_fault(error, self.folder) from error
