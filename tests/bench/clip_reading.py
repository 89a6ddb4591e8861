"""Measure time and memory of reading and inspecting clips, each in a fresh process (Linux).

    python -m tests.bench.clip_reading [CLIP ...]

Without names, clips are made first: 5 s of 1080p at 30 and of 4K at 60 frames a second, and one of 31 s, which is refused. They
are coded as MPEG-4 part 2, all that the OpenCV wheel can write; name clips of a phone (H.264, HEVC) to measure these.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np

from prepcheck.resources import folder

_CODE = """
import sys, time
from pathlib import Path
from prepcheck.errors import BrokenInput
from prepcheck.light_set import inspect_set
from prepcheck.photo.clip import read_clip
from prepcheck.settings import Settings
from prepcheck.surface import load_model
def peak():
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM"))
def clock():
    return time.perf_counter(), time.process_time()
def told(what, since):
    wall, cpu = (now - then for now, then in zip(clock(), since))
    print(f"{what} {wall:.2f} s wall, {cpu:.2f} s of processor, peak {peak():.0f} MB", end="; ")
model = load_model()
print(f"{peak():.0f} MB before", end="; ")
since = clock()
try:
    photos = read_clip(Path(sys.argv[1]), Settings())
except BrokenInput as error:
    told(f"refused ({error.message})", since)
else:
    told(f"{len(photos)} photos read in", since)
    since = clock()
    inspect_set(photos, model, Settings())
    told("inspected in", since)
"""


def make(path: Path, width: int, height: int, rate: int, seconds: float) -> None:
    """Write a clip of a sample photo under a lamp that goes across it, held in a hand that moves."""
    sample = cv2.imread(str(folder("sample_images") / "residue.jpg"))
    wide = cv2.resize(sample, (width + width // 16, height + height // 16), interpolation=cv2.INTER_CUBIC)
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"mp4v"), rate, (width, height))
    down, across = np.mgrid[0:18, 0:32].astype(np.float32)
    count = round(rate * seconds)
    for index in range(count):
        at = index / count
        x, y = (int(side // 32 * (1 + turn)) for side, turn in ((width, np.sin(12 * at)), (height, np.cos(8 * at))))
        lamp = 0.45 + 0.9 * np.exp(-((across - 32 * at) ** 2 + (down - 9) ** 2) / 120)
        light = cv2.merge([cv2.resize(lamp, (width, height))] * 3)
        writer.write(cv2.multiply(wide[y : y + height, x : x + width], light, dtype=cv2.CV_8U))
    writer.release()


def measure(path: Path) -> None:
    done = subprocess.run([sys.executable, "-c", _CODE, str(path)], capture_output=True, text=True, check=True)
    print(f"{path.name} ({path.stat().st_size / 1e6:.1f} MB): {done.stdout.strip('; ')}", flush=True)


def main() -> None:
    named = [Path(name) for name in sys.argv[1:]]
    for path in named:
        measure(path)
    if named:
        return
    with tempfile.TemporaryDirectory() as made:
        for name, *how in (
            ("1080p30.mp4", 1920, 1080, 30, 5.0),
            ("2160p60.mp4", 3840, 2160, 60, 5.0),
            ("31_seconds.mp4", 320, 240, 30, 31.0),
        ):
            make(Path(made) / name, *how)
            measure(Path(made) / name)


if __name__ == "__main__":
    main()
