"""Photos of a batch in an object store: ``s3://bucket/folder`` and the other addresses of `prepcheck.archive.bucket`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from prepcheck.archive.bag_names import name_fault
from prepcheck.archive.bucket import Bucket, open_bucket
from prepcheck.batch.sources import STRANGE_NAME, Item, Most, why_left_out
from prepcheck.errors import StillChanging, StoreFault, TooLarge, Unreadable

MOST_OBJECTS = 50_000_000
"""Of one listing: more is a server that does not come to an end."""
_TRIES = 3


@dataclass(frozen=True)
class Objects:
    """The photos below an address of an object store.

    It holds no connection and no credentials, so a worker elsewhere reads with its own.

    Parameters
    ----------
    address : str
        As for `prepcheck.archive.bucket.open_bucket`.
    most : Most
        Bytes of one photo or clip.
    """

    address: str
    most: Most

    @property
    def name(self) -> str:
        """Its address; there are no credentials in it."""
        return self.address

    @property
    def is_shared(self) -> bool:
        """Whether other machines reach it, too."""
        return not self.address.startswith("file:")

    def items(self) -> Iterator[Item]:
        """Yield all objects; an `Unreadable` when the server refuses or does not answer, also in the middle."""
        try:
            for number, found in enumerate(self._bucket.names()):
                if number >= MOST_OBJECTS:
                    raise TooLarge(f"has more than {MOST_OBJECTS:,} objects", "Give a folder in it", self.address)
                why = STRANGE_NAME if name_fault(found.name) else why_left_out(found.name)
                yield Item(found.name, found.size, found.mark, why)
        except StoreFault as error:
            raise Unreadable(error.what, error.do, error.subject) from error

    def read(self, item: Item) -> bytes:
        """Return the bytes of an object that did not change meanwhile."""
        try:
            for _ in range(_TRIES):
                read = self._bucket.read(item.name, self.most.of(item))
                if read is None:
                    raise Unreadable("is gone", "Run again to list what is there now", item.name)
                data, found = read
                if self._bucket.find(item.name) == found:
                    return data
        except StoreFault as error:
            raise Unreadable(f"cannot be read: the object store {error.what}", error.do, item.name) from error
        raise StillChanging("changes while it is read", "Run again when it is copied", item.name)

    @property
    def _bucket(self) -> Bucket:
        return _opened(self.address)


@lru_cache(maxsize=4)
def _opened(address: str) -> Bucket:
    """Open a place once a process, however many photos are read from it."""
    return open_bucket(address)


def open_objects(address: str, most: Most) -> Objects:
    """Return the photos at an address of an object store as a source; `WrongUse` when it cannot be used at all."""
    return Objects(_opened(address).place, most)
