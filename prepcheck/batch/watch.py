"""Photos that are still being copied: one is taken when it has not changed for a while."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from prepcheck.batch.sources import Item

QUIET_S = 2.0
"""How long a photo must not have changed; copying from a phone pauses less (common practice, no source)."""
POLL_S = 1.0
"""Between two listings."""


@dataclass
class Quiet:
    """Says of an item whether it has not changed for `QUIET_S`, and that once for each state of it.

    Parameters
    ----------
    clock : callable
        Seconds that only go forward.
    """

    clock: Callable[[], float] = time.monotonic
    _seen: dict[str, tuple[str, float]] = field(default_factory=dict, repr=False)
    _given: dict[str, str] = field(default_factory=dict, repr=False)

    def __call__(self, item: Item) -> bool:
        """Whether to take an item now."""
        now = self.clock()
        stamp, since = self._seen.get(item.name, (None, now))
        if stamp != item.stamp:
            self._seen[item.name] = item.stamp, now
        elif now - since >= QUIET_S and self._given.get(item.name) != stamp:
            self._given[item.name] = item.stamp
            return True
        return False
