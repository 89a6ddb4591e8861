"""Photos as objects of an object store, under their SHA-256."""

from __future__ import annotations

from collections.abc import Iterator

from prepcheck.archive.archive import Archive
from prepcheck.archive.bucket import Bucket
from prepcheck.errors import StoreFault, TooLarge

_MOST_BYTES = 1_000_000_000
"""More than any photo or clip may have; what is larger was not put in by prepcheck."""


class ObjectArchive(Archive):
    """Photos in a bucket: the photo ``abcd...`` is the object ``ab/abcd...``, written once and never over another.

    Erasing takes the object away; versions that the bucket itself keeps have to be erased there.
    """

    is_shared = True

    def __init__(self, bucket: Bucket) -> None:
        self._bucket = bucket
        self.place = bucket.place

    def kept(self) -> Iterator[str]:
        """Give the hashes of all objects that are named like a photo of an archive."""
        for found in self._bucket.names():
            sha256 = found.name.rpartition("/")[2]
            if found.name == _name(sha256):
                yield sha256

    def _has(self, sha256: str) -> bool:
        return self._bucket.find(_name(sha256)) is not None

    def _read(self, sha256: str) -> bytes | None:
        try:
            read = self._bucket.read(_name(sha256), _MOST_BYTES)
        except TooLarge as error:
            raise StoreFault("was changed since it was logged", "Bring it back from a backup", sha256) from error
        return None if read is None else read[0]

    def _write(self, sha256: str, data: bytes, format: str) -> bool:
        return self._bucket.write_new(_name(sha256), data)

    def _remove(self, sha256: str) -> None:
        self._bucket.remove(_name(sha256))


def _name(sha256: str) -> str:
    return f"{sha256[:2]}/{sha256}"
