"""Physically based renders made by many worker processes, to be read by the trainer while more are made."""

from __future__ import annotations

import json
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

from prepcheck.synth import Picture
from prepcheck.synth.camera import expose, sample_camera
from prepcheck.synth.layers import BEAD
from prepcheck.synth.noise import Field
from prepcheck.synth.setting import sample_mix
from prepcheck.terms import State
from prepcheck.train.pictures import keep, kept, open_folder

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
        Scenes in the folder afterwards, and how many scenes (see their ``SEED.error``) and workers failed.
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
    broken = len(list(folder.glob("*.error"))) + sum(process.exitcode != 0 for process in crew)
    return len(list(folder.glob("*.npz"))), broken


def develop(renders: Path, folder: Path) -> int:
    """Photograph every render once, under a drawn mix of its lights, into an evaluation folder.

    Parameters
    ----------
    renders : Path
        Folder of ``SEED.npz`` and ``SEED.json``.
    folder : Path
        Gets ``images``, ``states``, ``ground`` and ``meta``; pictures already there are kept.

    Returns
    -------
    int
        Number of pictures made.
    """
    open_folder(folder)
    wanted = [p for p in sorted(renders.glob("*.npz")) if not kept(folder, p.stem)]
    for path in wanted:
        _photograph(path, folder)
    return len(wanted)


def _photograph(path: Path, folder: Path) -> None:
    light, (states, ground) = read_render(path)
    rng = np.random.default_rng([int(path.stem), 3])
    mix, camera = sample_mix(rng), sample_camera(rng)
    linear = np.einsum("lc,lchw->hwc", mix, light).astype(np.float32)
    image = expose(rng, linear, camera)
    states[states == BEAD] = State.CANNOT_TELL
    notes = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    on = [name for name, power in zip(("surroundings", "lamp", "torch"), mix.mean(axis=1), strict=True) if power > 0.1]
    kinds = [notes["lights"][name] if name != "surroundings" else name for name in on]
    meta = {**notes, "light": " and ".join(kinds), "camera": camera.as_dict()}
    keep(folder, path.stem, Picture(image, states, ground * 255, meta))
