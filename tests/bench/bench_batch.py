"""A batch beside the bare loop of decoding and network: throughput, what a second worker gains, memory.

``python -m tests.bench.bench_batch [--photos 200] [--size 320x240]`` prints a table; on a quiet machine please, by hand. The
photos are crops of the shipped samples, drawn by a seed. The bare loop is what no program can be faster than that decodes
each photo and runs the network once: in this process, with one thread of OpenCV for each worker that the batch has.
"""

from __future__ import annotations

import argparse
import platform
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import cv2
import numpy as np

from prepcheck.batch.batch import open_batch
from prepcheck.batch.crew import Workers
from prepcheck.batch.run import Way
from prepcheck.batch.sources import Folder, Most
from prepcheck.batch.work import LookSpec
from prepcheck.inspection import inspect
from prepcheck.looking import Look
from prepcheck.photo import at_long_side, from_bytes
from prepcheck.record import record_of
from prepcheck.resources import folder
from prepcheck.settings import Settings
from prepcheck.surface import load_model

MOST = Most(10_000_000, 10_000_000)
AT = 1_000
"""Photos after which memory is taken the first time."""


def make_photos(place: Path, count: int, size: tuple[int, int]) -> Path:
    """Write photos of `size` (width, height): the samples reduced, each shifted, mirrored and with noise of its own."""
    place.mkdir()
    samples = [cv2.imread(str(path)) for path in sorted(folder("sample_images").glob("*.jpg"))]
    for number in range(count):
        rng = np.random.default_rng(number)
        small = cv2.resize(samples[number % len(samples)], size, interpolation=cv2.INTER_AREA)
        shifted = np.roll(small, tuple(rng.integers(-12, 13, 2)), (0, 1))[:, :: rng.choice((-1, 1))]
        noisy = np.clip(shifted + rng.normal(0, 2, shifted.shape), 0, 255).astype(np.uint8)
        cv2.imwrite(str(place / f"{number:06}.jpg"), noisy, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return place


def bare_loop(photos: list[Path]) -> float:
    """Decode each photo and run the network on it; return photos a second."""
    settings, model = Settings(), load_model()

    def one(path: Path) -> None:
        rgb = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
        model.run(at_long_side(np.asarray(rgb, np.uint8), settings.photo.working_px))

    return _rate(one, photos)


def bare_inspections(photos: list[Path]) -> float:
    """Inspect each photo and make its record, with nothing around it; return photos a second."""
    settings, model = Settings(), load_model()

    def one(path: Path) -> None:
        record_of(inspect(from_bytes(path.read_bytes(), path.name, settings), model, settings)).model_dump_json()

    return _rate(one, photos)


def _rate(one: Callable[[Path], None], photos: list[Path]) -> float:
    one(photos[0])
    start = time.perf_counter()
    for path in photos:
        one(path)
    return len(photos) / (time.perf_counter() - start)


def bare(place: Path, count: int, threads: int, loop: str = "bare_loop") -> float:
    """Run a bare loop in a fresh process with so many threads of OpenCV."""
    code = (
        f"import sys, cv2; from pathlib import Path; from tests.bench.bench_batch import {loop}\n"
        f"cv2.setNumThreads({threads}); print({loop}(sorted(Path(sys.argv[1]).iterdir())[:{count}]))"
    )
    done = subprocess.run([sys.executable, "-c", code, str(place)], capture_output=True, text=True, check=True)
    return float(done.stdout)


def bare_side_by_side(place: Path, count: int) -> float:
    """Run two bare loops of one thread each at once; return photos a second of both together."""
    code = (
        "import sys, cv2; from pathlib import Path; from tests.bench.bench_batch import bare_loop\n"
        "cv2.setNumThreads(1); photos = sorted(Path(sys.argv[1]).iterdir())\n"
        f"print(bare_loop(photos[int(sys.argv[2])::2][:{count // 2}]))"
    )
    both = [
        subprocess.Popen([sys.executable, "-c", code, str(place), str(half)], stdout=subprocess.PIPE, text=True)
        for half in (0, 1)
    ]
    return sum(float(one.communicate()[0]) for one in both)


def batch(place: Path, out: Path, workers: int, told: Callable[[int], None] = lambda done: None) -> float:
    """Look at all photos with so many workers that are warm; return photos a second."""
    source, look = Folder(place, MOST), Look(Settings(), load_model())
    opened = open_batch(source, Way(LookSpec.of(look)), out, parquet=False)
    warm = out.parent / "warm"
    with closing(opened.ledger), closing(Workers(workers)) as crew:
        _warm_up(place, warm, crew, look)
        done = 0

        def step() -> None:
            nonlocal done
            done += 1
            told(done)

        start = time.perf_counter()
        count = opened.look(crew, step)
        took = time.perf_counter() - start
    shutil.rmtree(out)
    return count / took


def _warm_up(place: Path, warm: Path, crew: Workers, look: Look) -> None:
    """Have each worker start and load the model on a few photos of their own."""
    some = warm / "photos"
    some.mkdir(parents=True)
    for path in sorted(place.iterdir())[:8]:
        shutil.copy(path, some)
    opened = open_batch(Folder(some, MOST), Way(LookSpec.of(look)), warm / "out", parquet=False)
    with closing(opened.ledger):
        opened.look(crew)
    shutil.rmtree(warm)


def main() -> None:
    """Run everything."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--photos", type=int, default=200)
    asked.add_argument("--size", default="320x240")
    asked.add_argument("--rounds", type=int, default=3, help="of each comparison, in turn")
    given = asked.parse_args()
    width, height = map(int, given.size.split("x"))
    print(
        f"{platform.machine()}, {cv2.getNumberOfCPUs()} cores, OpenCV {cv2.__version__}, Python {platform.python_version()}"
    )
    print(f"load of the machine before: {Path('/proc/loadavg').read_text().split()[0]}")
    with tempfile.TemporaryDirectory() as place:
        photos = make_photos(Path(place) / "photos", given.photos, (width, height))
        _compare(photos, Path(place) / "out", min(given.photos, 400), given.rounds)
        _whole(photos, Path(place) / "out")


def _compare(photos: Path, out: Path, count: int, rounds: int) -> None:
    """Take each figure in turn, so that a machine that grows busy slows all of them."""
    some = photos.parent / "some"
    some.mkdir()
    for path in sorted(photos.iterdir())[:count]:
        shutil.copy(path, some)
    ways: dict[str, Callable[[], float]] = {
        "bare loop, 1 process, 2 threads": lambda: bare(some, count, 2),
        "bare loop, 2 processes of 1 thread": lambda: bare_side_by_side(some, count),
        "bare loop, 1 process, 1 thread": lambda: bare(some, count, 1),
        "bare inspections, 1 process, 1 thread": lambda: bare(some, count, 1, "bare_inspections"),
        "batch, 2 workers": lambda: batch(some, out, 2),
        "batch, 1 worker": lambda: batch(some, out, 1),
    }
    reached: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(rounds):
        for name, way in ways.items():
            reached[name].append(way())
    middle = {name: float(np.median(found)) for name, found in reached.items()}
    for name, found in reached.items():
        print(f"{name:<38}{middle[name]:8.1f} photos a second  ({min(found):.1f} to {max(found):.1f})")
    two, one = middle["batch, 2 workers"], middle["batch, 1 worker"]
    best = max(reached["bare loop, 1 process, 2 threads"])  # on a busy machine both may share one core for a while
    print(f"batch of 2 workers to the bare loop of 2 threads at its best: {two / best:.2f} (aim 0.9)")
    print(f"  to two bare loops side by side: {two / middle['bare loop, 2 processes of 1 thread']:.2f}")
    print(f"batch of 1 worker to bare inspections: {one / middle['bare inspections, 1 process, 1 thread']:.2f}")
    print(f"2 workers to 1: {two / one:.2f} (aim 1.8)")
    shutil.rmtree(some)


def _whole(photos: Path, out: Path) -> None:
    """Look at all photos once and say how much memory the main process has at `AT` photos and at the end."""
    reached: dict[int, float] = {}

    def told(done: int) -> None:
        if done == AT:
            reached[done] = _memory_mb()

    rate = batch(photos, out, 2, told)
    count = sum(1 for _ in photos.iterdir())
    early = f"{reached[AT]:.0f} MB after {AT:,} photos, " if reached else ""
    print(f"all {count:,} photos: {rate:.1f} a second; main process {early}{_memory_mb():.0f} MB at the end")
    print(f"(highest of the main process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB)")


def _memory_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20


if __name__ == "__main__":
    main()
