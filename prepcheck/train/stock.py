"""The scenes on the training device: a ring of linear pictures under ever new light, with their truth."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray

from prepcheck.synth.light import Rig, colour_of
from prepcheck.train import lit
from prepcheck.train.losses import is_residue

CARE_AREA = 900
"""Residue patches smaller than this many pixels weigh more, down to a quarter of the length."""


@dataclass(frozen=True)
class Scene:
    """One scene file in memory.

    Attributes
    ----------
    planes : ndarray
        Packed surface, uint8 of shape (12, H, W), or rendered lights, float16 of shape (L, 3, H, W).
    truth : ndarray of uint8, shape (3, H, W)
        State, ground, and how much a pixel matters (see :func:`care`).
    """

    planes: NDArray[Any]
    truth: NDArray[np.uint8]

    @property
    def rendered(self) -> bool:
        """Whether the planes are lights that were rendered one by one."""
        return self.planes.ndim == 4


def care(state: NDArray[np.uint8], ground: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Weight of each pixel times 32: up to 4 for small patches of residue on the ground; uint8, shape (H, W)."""
    residue = (is_residue(state) & (ground > 0)).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(residue, connectivity=8)
    weights = np.sqrt(CARE_AREA / stats[:, cv2.CC_STAT_AREA]).clip(1, 4)
    weights[0] = 1.0
    return np.asarray(np.round(weights * 32).astype(np.uint8)[labels], np.uint8)


def load_scene(path: Path) -> Scene:
    """Read a packed (``.npy``) or rendered (``.npz``) scene."""
    if path.suffix == ".npz":
        with np.load(path) as stored:
            planes, truth = stored["light"], stored["truth"]
    else:
        packed = np.load(path)
        planes, truth = packed, packed[10:12]
    return Scene(planes, np.stack([truth[0], truth[1], care(truth[0], truth[1])]))


class Library:
    """Scene files of some folders, kept in memory; new files are found while worker processes add them."""

    def __init__(self, folders: list[Path], rank: int = 0, ranks: int = 1) -> None:
        self.folders, self.rank, self.ranks = folders, rank, ranks
        self.packed: list[Path] = []
        self.rendered: list[Path] = []
        self.memory: dict[Path, Scene] = {}

    def look_again(self) -> None:
        """Find new files; each of several processes takes its share."""
        for folder in self.folders:
            for found, kept in (("*.npy", self.packed), ("*.npz", self.rendered)):
                known = set(kept)
                paths = [p for p in sorted(folder.glob(found)) if int(p.stem) % self.ranks == self.rank]
                kept += [p for p in paths if p not in known]

    def draw(self, rng: np.random.Generator, rendered_share: float) -> Scene:
        """Give a random scene, a rendered one with the given chance if there are any."""
        wanted = self.rendered if self.rendered and rng.random() < rendered_share else self.packed
        paths = wanted or self.rendered
        path = paths[rng.integers(len(paths))]
        if path not in self.memory:
            self.memory[path] = load_scene(path)
        return self.memory[path]

    def __len__(self) -> int:
        return len(self.packed) + len(self.rendered)


def ahead(make: Any, workers: int, depth: int, seed: int) -> Iterator[Any]:
    """Make things with `make(rng)` in threads, `depth` ahead of their use."""
    with ThreadPoolExecutor(workers) as pool:
        waiting = [pool.submit(make, np.random.default_rng([seed, k])) for k in range(depth)]
        for k in itertools.count(depth):
            first = waiting.pop(0)
            waiting.append(pool.submit(make, np.random.default_rng([seed, k])))
            yield first.result()


class Ring:
    """Lit linear pictures on the device; the oldest make room for new ones.

    Attributes
    ----------
    light : tensor of float16, shape (N, 3, H, W)
        Linear pictures of mean about one.
    truth : tensor of uint8, shape (N, 3, H, W)
        State, ground and care.
    """

    def __init__(self, capacity: int, shape: tuple[int, int], device: Any) -> None:
        self.light = torch.empty((capacity, 3, *shape), dtype=torch.float16, device=device)
        self.truth = torch.empty((capacity, 3, *shape), dtype=torch.uint8, device=device)
        self.grounds: list[NDArray[np.float64]] = [np.zeros((1, 2))] * capacity
        self.count = 0

    def __len__(self) -> int:
        return min(self.count, len(self.light))

    def add(self, scenes: list[Scene], rng: np.random.Generator, rigs: list[Rig], samples: int) -> None:
        """Light scenes anew and keep the pictures."""
        packed = [s for s in scenes if not s.rendered]
        if packed:
            planes = torch.stack([torch.from_numpy(s.planes) for s in packed]).to(self.light.device)
            for scene, picture in zip(packed, light_anew(rng, planes, rigs, samples), strict=True):
                self._keep(scene, picture)
        for scene in scenes:
            if scene.rendered:
                self._keep(scene, mix_lights(rng, torch.from_numpy(scene.planes).to(self.light.device)))

    def _keep(self, scene: Scene, picture: Any) -> None:
        place = self.count % len(self.light)
        self.light[place] = (picture / picture.mean().clip(1e-6)).clip(0, 6e4).half()
        self.truth[place] = torch.from_numpy(scene.truth).to(self.light.device)
        self.grounds[place] = _grounds(scene.truth[1])
        self.count += 1

    def draw(self, rng: np.random.Generator, count: int) -> tuple[Any, Any, NDArray[np.float64]]:
        """Give random pictures, their truth, and in each a place to look at (heights from the middle), mostly on ground."""
        chosen = rng.integers(len(self), size=count)
        aims = np.stack([self._aim(rng, int(k)) for k in chosen])
        index = torch.as_tensor(chosen, device=self.light.device)
        return self.light[index], self.truth[index], aims

    def _aim(self, rng: np.random.Generator, k: int) -> NDArray[np.float64]:
        places = self.grounds[k]
        if len(places) and rng.random() < 0.8:
            return np.asarray(places[rng.integers(len(places))] + rng.normal(0, 0.12, 2))
        return rng.uniform(-0.8, 0.8, 2)


def _grounds(ground: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Up to 200 places on the ground, in heights (half the picture's height: 1) from the middle, shape (N, 2) as x, y."""
    rows, cols = ground.shape
    places = np.argwhere(ground[::8, ::8] > 0)[:, ::-1] * 8.0
    return np.asarray((places - [cols / 2, rows / 2]) / (rows / 2))[:: max(1, len(places) // 200)]


def light_anew(rng: np.random.Generator, planes: Any, rigs: list[Rig], samples: int) -> Any:
    """Light packed scenes, shape (B, 12, H, W), each with a random rig and its materials varied: linear pictures (B, 3, H, W)."""
    count, (rows, cols), device = len(planes), planes.shape[-2:], planes.device
    scale = torch.as_tensor(np.exp(rng.uniform(np.log(0.7), np.log(1.3), count)) * cols, device=device).float()
    middle = torch.tensor([[cols / 2, rows / 2]], device=device).expand(count, 2)
    chosen = [rigs[k] for k in rng.integers(len(rigs), size=count)]
    return lit.light_up(planes, chosen, middle, scale, samples, rng)


def mix_lights(rng: np.random.Generator, lights: Any) -> Any:
    """Switch a scene's lights on or off and give each a new strength and colour: light adds up. (L, 3, H, W) to (3, H, W)."""
    count = len(lights)
    on = rng.random(count) < 0.7
    on[rng.integers(count)] = True
    weights = (
        np.exp(rng.normal(0, 0.9, (count, 1))) * np.stack([colour_of(rng, 0.15) for _ in range(count)]) * on[:, None]
    )
    lights = lights.float()
    level = lights.mean((1, 2, 3)).clip(1e-6).view(-1, 1)
    return (
        lights * (torch.as_tensor(weights, dtype=torch.float32, device=lights.device) / level)[..., None, None]
    ).sum(0)
