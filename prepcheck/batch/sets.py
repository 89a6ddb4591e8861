"""Photos of a moved-light set as one item of a source: those that a table beside them puts together."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field

from prepcheck.batch.sources import Item, Source

INCOMPLETE = "not all photos of its set are there"
"""Why photos of a set are left out."""


@dataclass(frozen=True)
class Sets:
    """A source in which the photos of a set are one item, named like the first of them.

    Parameters
    ----------
    source : Source
        Where the photos are.
    sets : tuple of tuple of str
        Names of the photos of each set in Unicode form NFC, in order.
    """

    source: Source
    sets: tuple[tuple[str, ...], ...] = field(repr=False)

    @property
    def name(self) -> str:
        """That of the source."""
        return self.source.name

    @property
    def is_shared(self) -> bool:
        """Whether other machines reach the photos, too."""
        return self.source.is_shared

    def items(self) -> Iterator[Item]:
        """Yield sets as soon as all their photos were listed, and all else as it comes."""
        set_of = {name: names for names in self.sets for name in names}
        waiting: dict[str, dict[str, Item]] = {}
        for item in self.source.items():
            plain = unicodedata.normalize("NFC", item.name)
            names = set_of.get(plain)
            if names is None or item.left_out:
                yield item
                continue
            there = waiting.setdefault(names[0], {})
            there[plain] = item
            if len(there) == len(names):
                del waiting[names[0]]
                yield _joined([there[name] for name in names])
        yield from (Item(one.name, left_out=INCOMPLETE) for there in waiting.values() for one in there.values())

    def read(self, item: Item) -> bytes:
        """Return the bytes of one photo."""
        return self.source.read(item)


def _joined(items: list[Item]) -> Item:
    first, *others = items
    stamps = [one.stamp for one in items]
    stamp = "\n".join(stamps) if all(stamps) else ""
    return Item(first.name, sum(one.size for one in items), stamp, more=tuple(one.name for one in others))
