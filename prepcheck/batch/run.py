"""A batch: every photo of a source that has no answer yet gets one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from prepcheck.batch.crew import Crew
from prepcheck.batch.ledger import Ledger
from prepcheck.batch.sources import Item, Source, photos
from prepcheck.batch.work import LookKey, LookSpec, PhotoTask


@dataclass(frozen=True)
class Way:
    """How to look at the photos of a batch: alike, but for a scale that is stated of single ones."""

    spec: LookSpec
    scale_of: Callable[[str], float | None] = field(default=lambda name: None, repr=False)
    _specs: dict[float | None, LookSpec] = field(default_factory=dict, repr=False)

    def spec_of(self, item: Item) -> LookSpec:
        """Return how to look at one photo; one object for each scale, whose key is computed once."""
        scale = self.scale_of(item.name)
        return self._specs.setdefault(scale, self.spec.stating(scale))


def to_do(source: Source, way: Way, ledger: Ledger) -> Iterator[tuple[Item, LookSpec, LookKey]]:
    """Yield the photos without an answer to what they are now, and how to look at them."""
    for item in photos(source):
        spec = way.spec_of(item)
        if not ledger.is_done(item, spec.key.text):
            yield item, spec, spec.key


def look_at_all(source: Source, way: Way, ledger: Ledger, crew: Crew, told: Callable[[], None] = lambda: None) -> int:
    """Look at all photos without an answer and return how many there were; `told` hears of each that is done."""
    at_work: dict[int, tuple[Item, str]] = {}
    count = 0
    for done in crew.work(_tasks(source, way, ledger, at_work)):
        item, look = at_work.pop(done.number)
        ledger.add(item, look, done)
        count += 1
        told()
    return count


def _tasks(source: Source, way: Way, ledger: Ledger, at_work: dict[int, tuple[Item, str]]) -> Iterator[PhotoTask]:
    for number, (item, spec, key) in enumerate(to_do(source, way, ledger)):
        at_work[number] = item, key.text
        yield PhotoTask(number, item, source, spec, ledger.known(item.name, key.text))
