"""How many out of how many."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from typing import TypeVar

K = TypeVar("K", bound=Hashable)


@dataclass(frozen=True)
class Tally:
    """`hits` out of `of` spots."""

    hits: int
    of: int

    def __post_init__(self) -> None:
        if not 0 <= self.hits <= self.of:
            raise ValueError(f"{self.hits} of {self.of} is no tally")


def shares_of(things: Iterable[K]) -> dict[K, Tally]:
    """Count each kind of `things` out of all of them, most frequent first, then in the order of first sight."""
    counts = Counter(things)
    return {kind: Tally(count, counts.total()) for kind, count in counts.most_common()}
