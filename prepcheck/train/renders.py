"""Physically based renders made by many worker processes, to be read by the trainer while more are made."""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import time
import traceback
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.noise import Field

MOST_ERRORS = 3
"""A worker that fails so often in a row gives up."""


def devices() -> int:
    """Number of GPUs that the driver lists; 0 without one."""
    try:
        listed = subprocess.run(["nvidia-smi", "-L"], capture_output=True, text=True, timeout=20, check=False)
    except (FileNotFoundError, subprocess.TimeoutExpired):
        return 0
    return sum(line.startswith("GPU ") for line in listed.stdout.splitlines())


def read_render(path: Path) -> tuple[Field, NDArray[np.uint8]]:
    """Light, float32, shape (3, 3, H, W), and truth, uint8, shape (2, H, W), of one ``SEED.npz``."""
    with np.load(path) as file:
        return np.asarray(file["light"], np.float32), np.asarray(file["truth"])


def _work(worker: int, job: dict[str, Any], following: Any, end: float) -> None:
    """Render scenes whose seeds `following` hands out until none is left or the time is up."""
    if job["devices"]:
        os.environ["CUDA_VISIBLE_DEVICES"] = str(worker % job["devices"])
    cv2.setNumThreads(1)
    import drjit

    from prepcheck.synth.rendered import Studio, save_render

    drjit.set_thread_count(job["threads"])
    studio = Studio(job["shape"], job["variant"], job["samples"])
    errors = 0
    while errors < MOST_ERRORS and time.time() < end:
        with following.get_lock():
            index = following.value
            following.value += 1
        if index >= len(job["seeds"]):
            return
        seed = job["seeds"][index]
        try:
            save_render(job["folder"], seed, studio.scene(seed))
            errors = 0
        except Exception:  # one bad scene must not end a long run; it is written down
            errors += 1
            (job["folder"] / f"{seed:07d}.error").write_text(traceback.format_exc())


def make_renders(
    folder: Path, first_seed: int, count: int, shape: tuple[int, int], workers: int, seconds: float,
    variant: str = "cuda_ad_rgb", samples: int = 24,
) -> tuple[int, int]:  # fmt: skip
    """Render up to `count` scenes with consecutive seeds, starting none after `seconds`.

    Parameters
    ----------
    folder : Path
        Where ``SEED.npz`` and ``SEED.json`` go; scenes already there are kept.
    first_seed, count : int
        Seeds.
    shape : (int, int)
        Rows and columns.
    workers : int
        Processes; worker `k` uses GPU `k` modulo the number of GPUs.
    seconds : float
        Time after which no further scene is begun.
    variant : str
        Mitsuba variant.
    samples : int
        Paths a pixel.

    Returns
    -------
    (int, int)
        Scenes in the folder afterwards, and scenes that failed (see their ``SEED.error``).
    """
    folder.mkdir(parents=True, exist_ok=True)
    there = {p.stem for p in folder.glob("*.npz")}
    seeds = [s for s in range(first_seed, first_seed + count) if f"{s:07d}" not in there]
    job = {
        "folder": folder, "shape": shape, "variant": variant, "samples": samples, "seeds": seeds,
        "devices": devices() if variant.startswith("cuda") else 0,
        "threads": max(1, (os.cpu_count() or 1) // workers),
    }  # fmt: skip
    spawn = multiprocessing.get_context("spawn")
    following, end = spawn.Value("i", 0), time.time() + seconds
    crew = [spawn.Process(target=_work, args=(k, job, following, end)) for k in range(workers)]
    for process in crew:
        process.start()
    for process in crew:
        process.join()
    return len(list(folder.glob("*.npz"))), len(list(folder.glob("*.error")))
