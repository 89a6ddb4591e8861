"""Scenes as compact byte planes: made by worker processes, read by the trainer while more are made."""

from __future__ import annotations

import json
import multiprocessing
import time
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import Layers
from prepcheck.synth.scene import make_surface

# Order of the byte planes in a packed scene: slope_x, slope_y, theta, alpha_u, alpha_v, metal, red, green, blue, cavity,
# state, ground.

STEEPEST = 1.2
"""Largest slope kept."""


def pack(layers: Layers) -> NDArray[np.uint8]:
    """Squeeze layers into bytes, shape (12, H, W): roots for slopes and colours keep small values fine."""
    slopes = [np.round(np.sign(s) * np.sqrt(np.abs(s) / STEEPEST) * 127 + 128) for s in layers.slopes()]
    planes = [
        *slopes,
        np.mod(layers.theta, np.float32(np.pi)) * np.float32(255 / np.pi),
        layers.alpha_u * 255,
        layers.alpha_v * 255,
        layers.metal * 255,
        *(np.sqrt(np.clip(layers.base[..., k], 0, 1)) * 255 for k in range(3)),
        layers.cavity * 255,
    ]
    bytes_ = [np.clip(np.round(p), 0, 255).astype(np.uint8) for p in planes]
    return np.stack([*bytes_, layers.state, layers.ground])


def make_scene(job: tuple[int, tuple[int, int], str]) -> str:
    """Make one packed scene file; `job` is (seed, shape, folder). Returns the file's name."""
    seed, shape, folder = job
    cv2.setNumThreads(1)
    layers = make_surface(seed, shape)
    target = Path(folder) / f"{seed:07d}.npy"
    part = target.with_suffix(".part")
    with part.open("wb") as file:
        np.save(file, pack(layers))
    target.with_suffix(".json").write_text(json.dumps(layers.notes))
    part.rename(target)
    return target.name


def make_scenes(folder: Path, first_seed: int, count: int, shape: tuple[int, int], workers: int, seconds: float) -> int:
    """Make up to `count` scenes with consecutive seeds in `workers` processes, stopping after `seconds`.

    Returns
    -------
    int
        Number of scenes in the folder afterwards. Scenes that are already there are not made again.
    """
    folder.mkdir(parents=True, exist_ok=True)
    there = {p.stem for p in folder.glob("*.npy")}
    seeds = [s for s in range(first_seed, first_seed + count) if f"{s:07d}" not in there]
    end = time.monotonic() + seconds
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        for _ in pool.imap_unordered(make_scene, [(s, shape, str(folder)) for s in seeds]):
            if time.monotonic() > end:
                pool.terminate()
                break
    return len(list(folder.glob("*.npy")))
