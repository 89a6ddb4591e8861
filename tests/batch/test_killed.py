"""A batch whose workers, or which itself, are killed again and again ends as one that nobody disturbed.

Nightly tier: ``pytest -m nightly tests/batch/test_killed.py``; by hand with more, ``PREPCHECK_KILLS=20``. Real processes and the
model that ships.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

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
    with closing(ledger(out)) as made:
        return sum(1 for _ in made.rows())


def test_a_batch_that_is_killed_goes_on_and_ends_alike(folder, undisturbed, tmp_path):
    rng, kills, done = random.Random(7), 0, 0
    while kills < KILLS:
        batch = begin(folder, tmp_path / "out")
        time.sleep(rng.uniform(1.0, 6.0))
        if batch.poll() is None:
            kill(batch.pid)
            kills += 1
        elif done == PHOTOS:  # nothing left to disturb
            break
        batch.wait()
        before, done = done, rows(tmp_path / "out") if (tmp_path / "out" / "batch.sqlite").exists() else 0
        assert done >= before
    assert begin(folder, tmp_path / "out").wait() == 3  # one photo is broken
    print(f"killed {kills} times")
    assert kills > KILLS // 2
    assert outputs(tmp_path / "out") == undisturbed


def test_a_batch_whose_workers_are_killed_ends_alike(folder, undisturbed, tmp_path):
    rng, kills = random.Random(11), 0
    batch = begin(folder, tmp_path / "out")
    while batch.poll() is None and kills < KILLS:
        if found := workers(batch.pid):
            kill(rng.choice(found))
            kills += 1
        time.sleep(rng.uniform(0.5, 2.0))
    assert batch.wait() == 3
    print(f"killed {kills} workers")
    assert kills > KILLS // 2
    assert outputs(tmp_path / "out") == undisturbed


def test_a_batch_whose_starter_of_workers_is_killed_ends_alike(folder, undisturbed, tmp_path):
    batch = begin(folder, tmp_path / "out")
    while not workers(batch.pid) and batch.poll() is None:
        time.sleep(0.1)
    (starter,) = [child for child in children(batch.pid) if children(child)]
    for pid in (*children(starter), starter):
        kill(pid)
    assert batch.wait() == 3
    assert outputs(tmp_path / "out") == undisturbed
