"""Batches for the fit, made on a stream of their own while the net works on the one before."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import torch

from prepcheck.synth.camera import sample_camera
from prepcheck.synth.light import Rig, sample_rig
from prepcheck.train import augment
from prepcheck.train.album import Album
from prepcheck.train.losses import BURNT
from prepcheck.train.stock import Library, Ring, ahead

FIRST = 320
"""Pictures lit before the first step."""

TOGETHER = 4
"""Pictures lit at once."""


@dataclass(frozen=True)
class View:
    """A way of cutting windows: how often, how large, how many, and how much of the picture's height they span."""

    chance: float
    size: tuple[int, int]
    scenes: int
    photos: int
    zoom: tuple[float, float]
    shrink: bool = False


VIEWS = (
    View(0.5, (512, 512), 18, 10, (0.36, 0.9)),
    View(0.25, (768, 1024), 6, 3, (0.75, 1.35)),
    View(0.25, (384, 512), 24, 10, (0.85, 1.4), shrink=True),
)
"""Close windows, whole pictures, and pictures seen from afar."""


@dataclass(frozen=True)
class Batch:
    """One step's pictures: those of scenes first.

    Attributes
    ----------
    pictures : tensor of float32, shape (B + P, 3, H, W)
        Photographs in 0..1, in channels-last memory.
    truth : tensor of uint8, shape (B, 3, H, W)
        State, ground and care of the scenes.
    burnt : tensor of float32, shape (B, H / 2, W / 2)
        1 where a scene's picture is burnt out.
    labels : tensor of uint8, shape (P, H, W), or None
        Labels of the photographs.
    """

    pictures: Any
    truth: Any
    burnt: Any
    labels: Any


Made = TypeVar("Made", bound=Batch)


def _rig(seed: tuple[int, int]) -> Rig:
    """Draw one rig (in a worker process)."""
    return sample_rig(np.random.default_rng(seed))


def rig_pool(seed: int, count: int, workers: int) -> list[Rig]:
    """Draw `count` rigs in worker processes: more are not needed, as each meets ever other scenes and cameras."""
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        return pool.map(_rig, [(seed, k) for k in range(count)], chunksize=8)


class Feed:
    """Makes batches without end.

    Parameters
    ----------
    library : Library
        Scenes, on disk and in memory.
    album : Album or None
        Labelled photographs on the device.
    rigs : list of Rig
        Lights.
    ring, refresh, samples : int
        Lit pictures kept; pictures lit anew for each batch; half vectors a pixel when lighting.
    rendered : float
        Share of rendered scenes among the pictures lit anew.
    smaller : int
        Divide all counts and sizes of windows by this.
    seed, rank : int
        All ranks take the same views, of other pictures.
    """

    def __init__(
        self, library: Library, album: Album | None, rigs: list[Rig], device: Any, *, ring: int, refresh: float,
        samples: int, rendered: float, smaller: int, seed: int, rank: int, workers: int,
    ) -> None:  # fmt: skip
        self.album, self.rigs, self.device = album, rigs, device
        self.refresh, self.samples, self.smaller = refresh, samples, smaller
        self.rng, self.choice = np.random.default_rng([seed, rank]), np.random.default_rng(seed)
        wait_for_scenes(library)
        self.scenes = ahead(lambda r: library.draw(r, rendered), workers, 16, seed * 64 + rank)
        shape = next(self.scenes).truth.shape
        self.ring = Ring(ring, (shape[1], shape[2]), device)
        self.owed = float(min(FIRST // smaller**2, ring))

    def batch(self) -> Batch:
        """Light some pictures anew and make one batch."""
        with torch.no_grad():
            self.owed += self.refresh
            while self.owed >= TOGETHER:
                self.ring.add([next(self.scenes) for _ in range(TOGETHER)], self.rng, self.rigs, self.samples)
                self.owed -= TOGETHER
            view = VIEWS[int(self.choice.choice(len(VIEWS), p=[v.chance for v in VIEWS]))]
            size = view.size[0] // self.smaller, view.size[1] // self.smaller
            seen, truth = self._scenes(view, size)
            burnt = (seen.amin(1) >= BURNT).float()[:, ::2, ::2]
            labels = None
            if self.album is not None:
                photos, labels = self.album.draw(self.rng, max(1, view.photos // self.smaller), size)
                seen = torch.cat([seen, augment.recolour(self.rng, photos)])
            return Batch(seen.contiguous(memory_format=torch.channels_last), truth, burnt, labels)

    def _scenes(self, view: View, size: tuple[int, int]) -> tuple[Any, Any]:
        """Photographs of scenes (B, 3, h, w) and their truth (B, 3, h, w)."""
        count, rng, whole = max(2, view.scenes // self.smaller), self.rng, size[0] != size[1]
        linear, truth, aims = self.ring.draw(rng, count)
        linear = torch.nn.functional.avg_pool2d(linear, 2) if view.shrink else linear
        matrices = augment.views(rng, count, view.zoom, 0.3 if whole else 3.2, aims * (0.15 if whole else 1.0))
        seen, told = augment.change_view(linear, truth, matrices, size)
        return augment.expose(seen, [sample_camera(rng) for _ in range(count)]), told


def wait_for_scenes(library: Library) -> None:
    """Wait until worker processes have made the first scenes."""
    library.look_again()
    while len(library) == 0:
        time.sleep(1)
        library.look_again()


def beside(make: Callable[[], Made], device: Any) -> Iterator[Made]:
    """Run `make` one batch ahead, in a thread and (on a GPU) on a stream of its own."""
    if device.type != "cuda":
        while True:
            yield make()
    stream = torch.cuda.Stream(device)

    def work() -> tuple[Made, Any]:
        with torch.cuda.device(device), torch.cuda.stream(stream):
            batch = make()
            return batch, stream.record_event()

    with ThreadPoolExecutor(1) as pool:
        waiting = [pool.submit(work) for _ in range(2)]
        while True:
            batch, ready = waiting.pop(0).result()
            waiting.append(pool.submit(work))
            current = torch.cuda.current_stream(device)
            current.wait_event(ready)
            for tensor in (batch.pictures, batch.truth, batch.burnt, batch.labels):
                if tensor is not None:
                    tensor.record_stream(current)
            yield batch
