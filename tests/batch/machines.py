"""A real Dask cluster on this computer, as processes that can be killed; it speaks TLS with keys of its own."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from prepcheck.batch.batch import Batch, open_batch
from prepcheck.batch.call import source_at
from prepcheck.batch.cluster import Cluster
from prepcheck.batch.cluster_keys import AUTHORITY, CERTIFICATE, KEY, make_keys
from prepcheck.batch.crew import Crew
from prepcheck.batch.run import Way
from prepcheck.batch.work import LookSpec
from prepcheck.errors import ClusterFault
from prepcheck.looking import prepare
from tests.photo.pictures import jpeg, scene

ROOT = Path(__file__).parents[2]
SIDE = 128
TABLES = ("photos.csv", "photos.jsonl")


def make_photos(folder: Path, count: int) -> Path:
    """Write small photos that all differ, one of them broken."""
    folder.mkdir()
    for number in range(count - 1):
        rgb = np.roll(scene(SIDE, SIDE, number), number, 1)
        (folder / f"p{number:03}.jpg").write_bytes(jpeg(rgb))
    (folder / "broken.jpg").write_bytes(b"\xff\xd8 no photo")
    return folder


def batch(photos: Path | str, out: Path) -> Batch:
    """Open the batch of a folder of photos, or of those at an address."""
    look = prepare(photos=2)
    return open_batch(source_at(str(photos), look.settings), Way(LookSpec.of(look)), out, parquet=False)


def look_through(photos: Path | str, out: Path, crew: Crew) -> int:
    """Do the batch with a crew and return how many photos it looked at; the ledger is closed whatever happens."""
    opened = batch(photos, out)
    try:
        return opened.look(crew)
    finally:
        opened.ledger.close()


def tables(photos: Path | str, out: Path) -> dict[str, str]:
    """Write the tables and return their text."""
    opened = batch(photos, out)
    try:
        opened.write()
    finally:
        opened.ledger.close()
    return {name: (out / name).read_text(encoding="utf-8") for name in TABLES}


class Machines:
    """Scheduler and workers.

    Parameters
    ----------
    folder : Path
        For keys and what they write.
    """

    def __init__(self, folder: Path, workers: int = 2) -> None:
        self.folder, self.keys = folder, folder / "keys"
        self.port = free_port()
        self.address = f"tls://127.0.0.1:{self.port}"
        self.started: list[subprocess.Popen[bytes]] = []
        make_keys(self.keys, datetime.now(UTC))
        self.scheduler = self.start_scheduler()
        self.workers = [self.start_worker() for _ in range(workers)]

    def start_scheduler(self) -> subprocess.Popen[bytes]:
        """Start a scheduler."""
        return self.start("scheduler", "--protocol", "tls", "--host", "127.0.0.1", "--port", str(self.port))

    def start_worker(self, *more: str) -> subprocess.Popen[bytes]:
        """Start a worker of one process and one thread, without a nanny that would start it again."""
        given = ("--nthreads", "1", "--no-nanny", "--host", "127.0.0.1", "--death-timeout", "60")
        return self.start("worker", self.address, *given, "--local-directory", str(self.folder), *more)

    def start(self, *words: str) -> subprocess.Popen[bytes]:
        """Start a program of Dask with the keys."""
        files = zip(("--tls-ca-file", "--tls-cert", "--tls-key"), (AUTHORITY, CERTIFICATE, KEY), strict=True)
        keys = [word for option, name in files for word in (option, str(self.keys / name))]
        plain = ["--no-dashboard", "--dashboard-address", "127.0.0.1:0"]
        found = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH")]))
        with (self.folder / "said.txt").open("ab") as said:
            process = subprocess.Popen(
                [sys.executable, "-m", "distributed.cli.dask_" + words[0], *words[1:], *keys, *plain],
                cwd=ROOT, stdout=said, stderr=said, env={**os.environ, "PYTHONPATH": found, "PYTHONWARNINGS": ""},
            )  # fmt: skip
        self.started.append(process)
        return process

    def kill_worker(self, number: int) -> None:
        """Kill a worker and start another in its place."""
        kill(self.workers[number])
        self.workers[number] = self.start_worker()

    def kill_scheduler(self) -> None:
        """Kill the scheduler with all workers, and start all again."""
        for process in (self.scheduler, *self.workers):
            kill(process)
        self.scheduler = self.start_scheduler()
        self.workers = [self.start_worker() for _ in self.workers]

    def crew(self, seconds: float = 60) -> Cluster:
        """Return a crew as soon as scheduler and workers are there."""
        end = time.monotonic() + seconds
        while True:
            try:
                return Cluster(self.address, self.keys)
            except ClusterFault:
                if time.monotonic() > end:
                    raise
                time.sleep(0.2)

    def stop(self) -> None:
        """End all."""
        for process in self.started:
            kill(process)


@contextmanager
def machines(folder: Path, workers: int = 2) -> Iterator[Machines]:
    """Give a cluster that ends with the block."""
    made = Machines(folder, workers)
    try:
        yield made
    finally:
        made.stop()


def kill(process: subprocess.Popen[bytes]) -> None:
    """End a process at once, wherever it is."""
    if process.poll() is None:
        process.send_signal(signal.SIGKILL)
    process.wait()


def free_port() -> int:
    """Return a port of this computer that is free now."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


def main() -> None:
    """Look through a folder of photos with a cluster: the client that a test kills."""
    photos, out, address, keys = sys.argv[1:]
    crew = Cluster(address, Path(keys))
    look_through(Path(photos), Path(out), crew)
    crew.close()


if __name__ == "__main__":
    main()
