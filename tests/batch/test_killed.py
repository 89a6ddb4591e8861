"""A batch whose workers, or which itself, are killed again and again ends as one that nobody disturbed.

Nightly tier: ``pytest -m nightly tests/batch/test_killed.py``; by hand with more, ``PREPCHECK_KILLS=20``. Real processes and the
model that ships.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from prepcheck.batch.ledger import FILE
from tests.batch.machines import make_photos
from tests.batch.small import ledger
from tests.command import environment

pytestmark = pytest.mark.nightly
KILLS = int(os.environ.get("PREPCHECK_KILLS", "5"))
PHOTOS = 40 + 8 * KILLS
OUTPUTS = ("photos.csv", "photos.jsonl", "sheet.html", "sheet.png")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_photos(tmp_path_factory.mktemp("killed") / "photos", PHOTOS)


@pytest.fixture(scope="module")
def undisturbed(folder: Path) -> dict[str, bytes]:
    """The outputs of a batch that nobody disturbed."""
    out = folder.parent / "undisturbed"
    begin(folder, out).wait()
    return outputs(out)


def begin(folder: Path, out: Path) -> subprocess.Popen[bytes]:
    call = [
        sys.executable,
        "-m",
        "prepcheck",
        "batch",
        str(folder),
        "--out",
        str(out),
        "--workers",
        "2",
        "--no-parquet",
    ]
    return subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment())


def outputs(out: Path) -> dict[str, bytes]:
    return {name: (out / name).read_bytes() for name in OUTPUTS}


def children(pid: int) -> list[int]:
    """Return the processes that a process began."""
    try:
        tasks = list(Path(f"/proc/{pid}/task").glob("*/children"))
        return [int(text) for task in tasks for text in task.read_text().split()]
    except FileNotFoundError:  # ended meanwhile
        return []


def workers(pid: int) -> list[int]:
    """Return the processes that look at photos: they are begun by one that a batch begins."""
    return [worker for child in children(pid) for worker in children(child)]


def kill(pid: int) -> None:
    try:
        os.kill(pid, signal.SIGKILL)
    except ProcessLookupError:  # ended by itself
        return


def rows(out: Path) -> int:
    """Return how many photos have an answer; none in a batch that was killed before it began."""
    if not (out / FILE).exists():
        return 0
    with closing(ledger(out)) as made:
        return sum(1 for _ in made.rows())


def test_batches_that_are_killed_go_on_and_end_alike(folder, undisturbed, tmp_path):
    rng, kills, out = random.Random(7), 0, tmp_path / "out"
    while kills < KILLS:
        killed, done = True, 0
        while killed:
            killed = killed_in_mid_run(begin(folder, out), rng.uniform(1.0, 4.0))
            kills += killed
            before, done = done, rows(out)
            assert done >= before
        assert outputs(out) == undisturbed
        shutil.rmtree(out)
    print(f"killed {kills} times")


def killed_in_mid_run(batch: subprocess.Popen[bytes], seconds: float) -> bool:
    """Kill a batch after some seconds, and say whether it was still at work; else it ended as it should."""
    try:
        assert batch.wait(seconds) == 3  # one photo is broken
    except subprocess.TimeoutExpired:
        batch.kill()
        batch.wait()
        return True
    return False


def test_batches_whose_workers_are_killed_end_alike(folder, undisturbed, tmp_path):
    rng, kills, out = random.Random(11), 0, tmp_path / "out"
    while kills < KILLS:
        batch, before = begin(folder, out), kills
        while batch.poll() is None:
            if found := workers(batch.pid):
                kill(rng.choice(found))
                kills += 1
            time.sleep(rng.uniform(0.4, 1.2))
        assert kills > before
        assert outputs(out) == undisturbed
        shutil.rmtree(out)
    print(f"killed {kills} workers")


def test_a_batch_whose_starter_of_workers_is_killed_ends_alike(folder, undisturbed, tmp_path):
    batch = begin(folder, tmp_path / "out")
    while not workers(batch.pid) and batch.poll() is None:
        time.sleep(0.1)
    (starter,) = [child for child in children(batch.pid) if children(child)]
    for pid in (*children(starter), starter):
        kill(pid)
    assert batch.wait() == 3
    assert outputs(tmp_path / "out") == undisturbed
