"""A batch: every photo of a source that has no answer yet gets one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from prepcheck.batch.crew import Crew
from prepcheck.batch.ledger import Ledger
from prepcheck.batch.sources import Item, Source, photos
from prepcheck.batch.work import LookSpec, PhotoTask, Task


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

    def key_of(self, item: Item) -> str:
        """Return under which key the ledger has the answer for an item."""
        key = self.spec_of(item).key
        return key.of_set(item.more).text if item.is_set else key.text


def always(item: Item) -> bool:
    """Say of every item that it may be taken."""
    return True


@dataclass(frozen=True)
class Round:
    """What one round of work goes through: the photos of a source that have no answer to what they are now.

    Parameters
    ----------
    source, way, ledger
        Where the photos are, how to look at them, and what has an answer.
    ready : callable
        Whether a photo may be taken yet.
    task : callable
        Makes the task for a photo from its number, the item, how to look, and what is known of its name.
    """

    source: Source
    way: Way
    ledger: Ledger
    ready: Callable[[Item], bool] = always
    task: Callable[[int, Item, LookSpec, frozenset[str]], Task] | None = None

    def to_do(self) -> Iterator[tuple[Item, LookSpec]]:
        """Yield the photos, and how to look at them."""
        for item in photos(self.source):
            spec = self.way.spec_of(item)
            if not self.ledger.is_done(item, self.way.key_of(item)) and self.ready(item):
                yield item, spec

    def work(self, crew: Crew, told: Callable[[], None] = lambda: None) -> int:
        """Look at them all and return how many there were; `told` hears of each that is done."""
        at_work: dict[int, tuple[Item, str]] = {}
        count = 0
        for done in crew.work(self._tasks(at_work)):
            self.ledger.add(*at_work.pop(done.number), done)
            count += 1
            told()
        return count

    def _tasks(self, at_work: dict[int, tuple[Item, str]]) -> Iterator[Task]:
        for number, (item, spec) in enumerate(self.to_do()):
            look = self.way.key_of(item)
            at_work[number] = item, look
            yield (self.task or self._photo_task)(number, item, spec, self.ledger.known(item.name, look))

    def _photo_task(self, number: int, item: Item, spec: LookSpec, known: frozenset[str]) -> Task:
        return PhotoTask(number, item, self.source, spec, known)
