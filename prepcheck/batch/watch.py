"""A source that is still being filled: a photo is taken when it has not changed for a while."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from prepcheck.batch.sources import Item, Source

QUIET_S = 2.0
"""How long a photo must not have changed; copying from a phone pauses less (common practice, no source)."""


@dataclass
class Settled:
    """The photos of a source that have not changed for `QUIET_S` between two listings.

    Parameters
    ----------
    source : Source
        The source.
    is_done : callable
        Whether an item needs no work any more; such a one is not kept in mind.
    clock : callable
        Seconds that only go forward.
    """

    source: Source
    is_done: Callable[[Item], bool]
    clock: Callable[[], float] = time.monotonic
    _seen: dict[str, tuple[str, float]] = field(default_factory=dict, repr=False)

    @property
    def name(self) -> str:
        """Name of the source."""
        return self.source.name

    def items(self) -> Iterator[Item]:
        """Yield what has settled, and what is left out or done."""
        for item in self.source.items():
            if item.left_out or self.is_done(item) or self._is_quiet(item):
                yield item

    def _is_quiet(self, item: Item) -> bool:
        now = self.clock()
        stamp, since = self._seen.get(item.name, ("", now))
        if stamp != item.stamp or not item.stamp:
            self._seen[item.name] = item.stamp, now
            return False
        return now - since >= QUIET_S

    def read(self, item: Item) -> bytes:
        """Return the bytes of a photo."""
        return self.source.read(item)
