"""Small batches of painted plates, worked on in this process by the net that reads them; and tasks for real processes."""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest

from prepcheck.batch.batch import Batch, open_batch
from prepcheck.batch.ledger import FILE, Ledger
from prepcheck.batch.run import Way
from prepcheck.batch.sources import Folder, Most, Source
from prepcheck.batch.work import Done, LookSpec, Task, work_on
from prepcheck.looking import Look
from prepcheck.settings import Settings
from prepcheck.terms import State
from tests import painted
from tests.command import photo_bytes, write_plate

MOST = Most(1_000_000, 1_000_000)
SIZE = (120, 160)
SETTINGS = Settings()
SPEC = LookSpec.of(Look(SETTINGS, painted.model(), mm_per_px=0.4))


class Here:
    """A crew of this process alone; `worked` has the names of what it worked on."""

    def __init__(self) -> None:
        self.worked: list[str] = []

    def work(self, tasks: Iterable[Task]) -> Iterator[Done]:
        for task in tasks:
            self.worked.append(task.name)
            yield work_on(task)

    def close(self) -> None:
        """Nothing to close."""


class Backwards(Here):
    """A crew that gives its answers the wrong way round."""

    def work(self, tasks: Iterable[Task]) -> Iterator[Done]:
        yield from reversed(list(super().work(tasks)))


@dataclass(frozen=True)
class Play:
    """A task for a real process: what it does is in its name."""

    number: int
    name: str
    folder: str = ""

    def work(self) -> Done:
        if self.name == "deadly" or (self.name == "deadly once" and self._first()):
            os._exit(9)
        if self.name == "strange":
            raise ZeroDivisionError("nobody thought of it")
        if self.name == "slow":
            time.sleep(0.05)
        return Done(self.number, self.name, "f" * 64, f"line {os.getpid()}")

    def _first(self) -> bool:
        try:
            (Path(self.folder) / "was here").touch(exist_ok=False)
        except FileExistsError:
            return False
        return True


def paint_folder(folder: Path, *names: str) -> Path:
    """Write plates that all differ, with more oxide from name to name, the first of them clean."""
    for number, name in enumerate(names):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        write_plate(path, *([(State.OXIDE, 80, 60, min(8 + 4 * number, 30))] if number else []), size=SIZE)
    return folder


def plate(oxide: int, **options: object) -> bytes:
    """Return the photo of a plate with a patch of oxide of that radius in px, none for 0."""
    patches = [(State.OXIDE, 80, 60, oxide)] if oxide else []
    return photo_bytes(painted.plate(*patches, size=SIZE, spot=(80, 60, 40)), **options)


def opened(folder: Path, out: Path, spec: LookSpec = SPEC, source: Source | None = None) -> Batch:
    """Open the batch of a folder; its ledger is the caller's to close."""
    return open_batch(source or Folder(folder, MOST), Way(spec), out, parquet=False)


def looked_at(folder: Path, out: Path, crew: Here | None = None, spec: LookSpec = SPEC) -> list[str]:
    """Do the batch of a folder, write it, and return the names of the photos that were worked on."""
    crew = crew or Here()
    batch = opened(folder, out, spec)
    with closing(batch.ledger):
        batch.look(crew)
        batch.write()
    return crew.worked


def ledger(out: Path) -> Ledger:
    return Ledger(out / FILE)


@pytest.fixture
def palette_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lets tasks find the model that reads painted plates."""
    monkeypatch.setattr("prepcheck.batch.work.load_model", lambda name=None: painted.model())
