"""Photos in memory, for a machine that cannot reach where they are kept."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from prepcheck.archive.archive import Archive


class Carried(Archive):
    """A few photos of an archive, held in memory and checked like there.

    Parameters
    ----------
    photos : dict of str to bytes
        By SHA-256.
    """

    place = "memory"

    def __init__(self, photos: dict[str, bytes]) -> None:
        self._photos = photos

    @classmethod
    def of(cls, archive: Archive, hashes: Iterable[str]) -> Carried:
        """Take photos along; an `UnknownRecord` or `StoreFault` when one cannot be had."""
        return cls({sha256: archive.get(sha256) for sha256 in hashes})

    def kept(self) -> Iterator[str]:
        """Give the hashes of all."""
        yield from self._photos

    def _has(self, sha256: str) -> bool:
        return sha256 in self._photos

    def _read(self, sha256: str) -> bytes | None:
        return self._photos.get(sha256)

    def _write(self, sha256: str, data: bytes, format: str) -> bool:
        return self._photos.setdefault(sha256, data) is data

    def _remove(self, sha256: str) -> None:
        self._photos.pop(sha256, None)
