"""Speed and memory of a whole inspection: ratios in one run, absolute figures beside.

``python -m tests.bench.run`` prints a table; on a quiet machine please. Every figure is the median of several runs with the
spread (least to most); losses are printed like gains. scikit-learn is needed for one row and said so when missing.
"""

from __future__ import annotations

import platform
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from prepcheck.inspection import inspect
from prepcheck.photo import at_long_side, from_bytes
from prepcheck.record import record_of
from prepcheck.resources import folder
from prepcheck.settings import Settings
from prepcheck.surface import load_model


def photo_bytes(megapixels: float, seed: int = 5) -> bytes:
    """Make a JPEG of about `megapixels` from a shipped sample, with sensor noise so that it weighs like a phone photo."""
    sample = next(path for path in sorted(folder("sample_images").glob("*.jpg")) if path.name == "residue.jpg")
    small = cv2.imread(str(sample))
    width = round((megapixels * 1e6 * 4 / 3) ** 0.5)
    large = cv2.resize(small, (width, round(width * 3 / 4)), interpolation=cv2.INTER_CUBIC)
    rng = np.random.default_rng(seed)
    for row in range(0, large.shape[0], 512):
        band = large[row : row + 512]
        noise = rng.normal(0, 6, band.shape).astype(np.float32)
        large[row : row + 512] = np.clip(band + noise, 0, 255).astype(np.uint8)
    return cv2.imencode(".jpg", large, [cv2.IMWRITE_JPEG_QUALITY, 95])[1].tobytes()


def timed(work: Callable[[], object], times: int = 7) -> tuple[float, float, float]:
    """Return median, least and most wall time in seconds after one warm-up."""
    work()
    took = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        took.append(time.perf_counter() - start)
    return statistics.median(took), min(took), max(took)


def command(*arguments: str, times: int = 5) -> tuple[float, float, float]:
    """Time a cold start of ``prepcheck`` with `arguments`."""
    call = [sys.executable, "-m", "prepcheck", *arguments]
    return timed(lambda: subprocess.run(call, capture_output=True, check=False), times)


def peak_mb(photo: Path) -> float:
    """Return the peak resident memory in MB of a fresh process that inspects `photo`."""
    code = (
        "import resource, sys, subprocess\n"
        f"subprocess.run([sys.executable, '-m', 'prepcheck', 'inspect', {str(photo)!r}, '--json'], capture_output=True)\n"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return float(done.stdout)


def forest(rgb: np.ndarray) -> Callable[[], object] | None:
    """Return a baseline over every pixel of `rgb`: scikit-image multiscale features and a random forest, both by default."""
    try:
        from sklearn.ensemble import RandomForestClassifier
    except ImportError:
        return None
    from skimage.feature import multiscale_basic_features

    def features() -> np.ndarray:
        made = multiscale_basic_features(rgb, channel_axis=-1)
        return made.reshape(-1, made.shape[-1])

    some = features()[::997]
    labels = (rgb.reshape(-1, 3)[::997].sum(axis=1) > np.median(rgb.sum(axis=2))).astype(int)
    trained = RandomForestClassifier(n_jobs=2, random_state=0).fit(some, labels)
    return lambda: trained.predict_proba(features())


def show(name: str, figures: tuple[float, float, float], note: str = "") -> None:
    """Print one row."""
    median, least, most = figures
    print(f"{name:<52} {1000 * median:8.0f} ms  ({1000 * least:.0f} to {1000 * most:.0f})  {note}")


def main() -> None:
    """Run everything."""
    print(
        f"{platform.machine()}, {cv2.getNumThreads()} threads, OpenCV {cv2.__version__}, Python {platform.python_version()}"
    )
    settings, model = Settings(), load_model()
    data = photo_bytes(12)
    decode = timed(lambda: cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR))
    whole = timed(lambda: record_of(inspect(from_bytes(data, "a.jpg", settings), model, settings)))
    photo = from_bytes(data, "a.jpg", settings)
    show(f"full decode of a 12 MP JPEG ({len(data) / 1e6:.1f} MB), OpenCV", decode)
    show("whole inspection of it, warm", whole, f"{whole[0] / decode[0]:.2f} x the decode (limit 4)")
    show("  of which reading", timed(lambda: from_bytes(data, "a.jpg", settings)))
    working = at_long_side(photo.rgb, settings.photo.working_px)
    show("  of which the model", timed(lambda: model.run(working)))
    if (baseline := forest(working)) is None:
        print("scikit-image features + random forest: not run, scikit-learn is not installed")
    else:
        slow = timed(baseline, times=2)
        show("scikit-image features + random forest, same size", slow, f"{slow[0] / whole[0]:.1f} x ours (at least 10)")
    with tempfile.TemporaryDirectory() as place:
        twelve = Path(place) / "twelve.jpg"
        twelve.write_bytes(data)
        show("prepcheck --help, cold", command("--help"), "limit 300 ms")
        show("prepcheck inspect of a 12 MP JPEG, cold", command("inspect", str(twelve), "--json"), "limit 1500 ms")
        print(f"peak memory, 12 MP JPEG: {peak_mb(twelve):.0f} MB (limit 500)")
        if "--large" in sys.argv:
            large = Path(place) / "large.jpg"
            large.write_bytes(photo_bytes(199))
            print(f"peak memory, 199 MP JPEG: {peak_mb(large):.0f} MB (limit 1000)")
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"(this process: {own:.0f} MB)")


if __name__ == "__main__":
    main()
