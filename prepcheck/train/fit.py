"""Fit the net on lit scenes and on points of real photographs, from a checkpoint, for a given time."""

from __future__ import annotations

import itertools
import json
import multiprocessing
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch.nn import functional

from prepcheck.synth.camera import sample_camera
from prepcheck.synth.light import Rig, sample_rig
from prepcheck.train import augment, lit, real
from prepcheck.train.net import Eye


@dataclass(frozen=True)
class Plan:
    """How to fit.

    Attributes
    ----------
    seconds : float
        Time for fitting.
    scenes, photos : Path
        Folder of packed scenes; folder with ``points.json`` (may be missing).
    crop, batch, full_batch, real_batch : int
        Side of a crop in pixels, crops a step, whole scenes a step, photo crops a step.
    rate : float
        Highest learning rate; it rises over the first 3 % and falls to 2 % by a cosine.
    samples : int
        Half vectors a pixel when lighting.
    steps : int
        Upper limit of steps.
    """

    seconds: float
    scenes: Path
    photos: Path
    crop: int = 512
    batch: int = 24
    full_batch: int = 8
    real_batch: int = 6
    rate: float = 2e-3
    samples: int = 10
    steps: int = 10**9
    seed: int = 0
    workers: int = 4
    rigs: int = 3000
    settle: int = 40
    log: list[dict[str, float]] = field(default_factory=list)


class Stock:
    """Packed scenes on the device, topped up while worker processes add files."""

    def __init__(self, folder: Path, device: Any, limit: int = 4500) -> None:
        self.folder, self.device, self.limit = folder, device, limit
        self.names: set[str] = set()
        self.scenes: list[Any] = []
        self.grounds: list[NDArray[np.int64]] = []

    def top_up(self, most: int = 60) -> None:
        """Load up to `most` scenes that are new."""
        for path in sorted(self.folder.glob("*.npy")):
            if most == 0 or len(self.scenes) >= self.limit:
                return
            if path.name not in self.names:
                self.names.add(path.name)
                self.add(np.load(path))
                most -= 1

    def add(self, packed: NDArray[np.uint8]) -> None:
        """Keep one packed scene, and some places on its ground (or anywhere, without ground) to aim windows at."""
        self.scenes.append(torch.from_numpy(packed).to(self.device))
        places = np.argwhere(packed[11, ::8, ::8] > 0) * 8
        self.grounds.append(places[:: max(1, len(places) // 200)])

    def _corner(self, rng: np.random.Generator, k: int, size: tuple[int, int]) -> list[int]:
        """Top left corner of a window, four times in five aimed at ground."""
        room = [self.scenes[k].shape[i + 1] - size[i] for i in range(2)]
        if len(self.grounds[k]) and rng.random() < 0.8:
            aim = self.grounds[k][rng.integers(len(self.grounds[k]))] - np.asarray(size) * rng.uniform(0.3, 0.7, 2)
            return [int(np.clip(a, 0, r)) for a, r in zip(aim, room, strict=True)]
        return [int(rng.integers(r + 1)) for r in room]

    def draw(self, rng: np.random.Generator, count: int, size: tuple[int, int]) -> tuple[Any, Any]:
        """Cut windows of `size` from random scenes; also gives the middle of the scene seen from each window."""
        cut, shift = [], []
        for k in rng.integers(len(self.scenes), size=count):
            scene = self.scenes[k]
            y, x = self._corner(rng, int(k), size)
            window = scene[:, y : y + size[0], x : x + size[1]]
            share = rng.uniform(0, 1) if rng.random() < 0.5 else 1.0
            middle = np.asarray([scene.shape[2] / 2 - x, scene.shape[1] / 2 - y])
            shift.append(share * middle + (1 - share) * np.asarray(size[::-1]) / 2)
            cut.append(window)
        return torch.stack(cut), torch.as_tensor(np.asarray(shift, np.float32), device=self.device)


def _rig(seed: tuple[int, int]) -> Rig:
    """Draw one rig (in a worker process)."""
    return sample_rig(np.random.default_rng(seed))


def rig_pool(seed: int, count: int, workers: int) -> list[Rig]:
    """Draw `count` rigs in worker processes: more are not needed, as each meets ever other scenes and cameras."""
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        return pool.map(_rig, [(seed, k) for k in range(count)], chunksize=8)


def linear_batch(
    rng: np.random.Generator, rigs: list[Rig], stock: Stock, count: int, size: tuple[int, int], samples: int
) -> Any:
    """Lit linear pictures (B, 3, H, W) and labels (B, 2, H, W): state and ground."""
    planes, shift = stock.draw(rng, count, size)
    width = max(stock.scenes[0].shape[1:])
    scale = torch.as_tensor(np.exp(rng.uniform(np.log(0.6 * width), np.log(1.2 * width), count)), device=stock.device)
    with torch.no_grad():
        lights = [rigs[k] for k in rng.integers(len(rigs), size=count)]
        return lit.light_up(planes, lights, shift, scale.float(), samples), planes[:, 10:12]


def photograph(
    rng: np.random.Generator, linear: Any, labels: Any, size: tuple[int, int], zoom: tuple[float, float]
) -> Any:
    """Change the view and expose: photographs (B, 3, h, w), labels (B, 2, h, w)."""
    with torch.no_grad():
        full_turn = 3.2 if size[0] == size[1] else 0.3
        views = augment.view_matrices(rng, len(linear), zoom, full_turn)
        seen, truth = augment.change_view(linear, labels, views, size)
        return augment.expose(seen, [sample_camera(rng) for _ in range(len(linear))]), truth


def scene_loss(logits: Any, truth: Any, burnt: Any) -> Any:
    """Cross entropy by state (weighted), dice on residue inside the ground, and ground entropy and dice.

    `burnt` (B, H, W) is 1 where all channels are at least 250 of 255: nothing can be seen there, so it counts little.
    """
    state, ground = truth[:, 0, ::2, ::2].long(), truth[:, 1, ::2, ::2].clip(max=1).float()
    logits = logits.float()
    weights = torch.tensor([0.5, 1.0, 1.1, 1.6, 0.5, 1.6, 0.7], device=logits.device)
    entropy = functional.cross_entropy(logits[:, :7], state, reduction="none")
    weight = weights[state] * (0.3 + 0.7 * ground) * (1 - 0.9 * burnt[:, ::2, ::2])
    states = (entropy * weight).sum() / weight.sum()
    chances = torch.softmax(logits[:, :7], 1)
    residue = chances[:, 2:6].sum(1)
    wrong = ((state >= 2) & (state <= 5)).float()
    told = ground * (state != 6) * (1 - burnt[:, ::2, ::2])
    spot = logits[:, 7]
    area = functional.binary_cross_entropy_with_logits(spot, ground)
    return states + 0.3 * dice(residue * told, wrong * told) + 0.5 * area + 0.3 * dice(torch.sigmoid(spot), ground)


def dice(chance: Any, truth: Any) -> Any:
    """One minus the soft Dice overlap, picture by picture, leaving out pictures without any truth."""
    both = (chance * truth).flatten(1).sum(1)
    either = (chance + truth).flatten(1).sum(1)
    real_ones = (truth.flatten(1).sum(1) > 20).float()
    return ((1 - (2 * both + 1) / (either + 1)) * real_ones).sum() / real_ones.sum().clip(1)


def point_loss(logits: Any, labels: Any, accepted: Any) -> Any:
    """Partial-label loss: minus the log of the chance given to all states that count as right."""
    logits = logits.float()
    here = labels[:, ::2, ::2].long()
    told = here < 7
    if not told.any():
        return logits.sum() * 0.0
    chances = torch.softmax(logits[:, :7], 1).permute(0, 2, 3, 1)[told]
    kinds = here[told]
    loss = -torch.log((chances * accepted[kinds]).sum(1).clip(1e-5))
    share = torch.tensor([0.6, 1.3, 1.3, 1.5, 1.0, 1.2, 1.0], device=logits.device)[kinds]
    spots = logits[:, 7][told]
    sure = (kinds != 3) & (kinds != 6) & (kinds != 5) & (kinds != 2)
    area = functional.binary_cross_entropy_with_logits(spots[sure], (kinds[sure] == 1).float()) if sure.any() else 0.0
    return (loss * share).sum() / share.sum() + 0.2 * area


def ahead(make: Any, workers: int, depth: int, seed: int) -> Iterator[Any]:
    """Make things with `make(rng)` in threads, `depth` ahead of their use."""
    with ThreadPoolExecutor(workers) as pool:
        waiting = [pool.submit(make, np.random.default_rng([seed, k])) for k in range(depth)]
        for k in itertools.count(depth):
            first = waiting.pop(0)
            waiting.append(pool.submit(make, np.random.default_rng([seed, k])))
            yield first.result()


def real_batch(rng: np.random.Generator, photos: list[real.PointPhoto], count: int, size: int) -> Any:
    """Crops (B, 3, h, w) in 0..1 and point labels (B, h, w)."""
    pairs = [real.crop(rng, photos[rng.integers(len(photos))], size) for _ in range(count)]
    images: NDArray[np.uint8] = np.stack([p[0] for p in pairs])
    return torch.from_numpy(images).permute(0, 3, 1, 2), torch.from_numpy(np.stack([p[1] for p in pairs]))


def freeze_norms(eye: Eye) -> None:
    """Stop batch norm from following the batch: scenes and photographs differ, so its statistics would fit neither."""
    for module in eye.modules():
        if isinstance(module, torch.nn.BatchNorm2d):
            module.eval()


def settle_norms(eye: Eye, batches: Iterator[Any], count: int) -> None:
    """Set the statistics of batch norm to their mean over `count` batches of pictures."""
    norms = [m for m in eye.modules() if isinstance(m, torch.nn.BatchNorm2d)]
    eye.train()
    for norm in norms:
        norm.reset_running_stats()
        norm.momentum = None
    with torch.no_grad():
        for _ in range(count):
            eye(next(batches))
    for norm in norms:
        norm.momentum = 0.1


class Fit:
    """One run of fitting; with `settled`, batch norm is settled on scenes first and then frozen."""

    def __init__(self, eye: Eye, plan: Plan, device: Any, everything: bool = False, settled: bool = False) -> None:
        self.settled = settled
        self.seen = torch.zeros(6, device=device)
        self.eye, self.plan, self.device = eye.to(device).to(memory_format=torch.channels_last), plan, device
        self.rng = np.random.default_rng(plan.seed)
        self.stock = Stock(plan.scenes, device)
        there = (plan.photos / "points.json").is_file()
        photos = real.load_photos(plan.photos) if there else []
        self.photos = [p for p in photos if everything or not real.held_out(p.file)]
        self.average = {k: v.detach().clone() for k, v in eye.state_dict().items()}
        self.accepted = torch.from_numpy(real.accepted_matrix()).to(device)
        decay = [p for p in eye.parameters() if p.ndim > 1]
        rest = [p for p in eye.parameters() if p.ndim <= 1]
        self.optimiser = torch.optim.AdamW(
            [{"params": decay, "weight_decay": 0.02}, {"params": rest, "weight_decay": 0.0}], plan.rate
        )

    def run(self) -> int:
        """Fit until the time or the steps are used up; returns the number of steps."""
        plan = self.plan
        rigs = rig_pool(plan.seed, plan.rigs, plan.workers)
        crops = ahead(lambda r: real_batch(r, self.photos, plan.real_batch, plan.crop), plan.workers, 8, plan.seed + 2)
        self.stock.top_up(10**6)
        if self.settled and plan.settle:
            settle_norms(self.eye, self._pictures(rigs), plan.settle)
            self.average = {k: v.detach().clone() for k, v in self.eye.state_dict().items()}
        if self.settled:
            freeze_norms(self.eye)
        start, step = time.monotonic(), 0
        pending: list[Any] = []
        while time.monotonic() - start < plan.seconds and step < plan.steps:
            progress = max((time.monotonic() - start) / plan.seconds, step / plan.steps)
            if step % 10 == 0:
                self.stock.top_up()
            if not pending:
                pending = self._next_pictures(rigs)
            linear, labels, size, zoom = pending.pop()
            loss = self._step(linear, labels, size, zoom, crops, progress)
            step += 1
            if step % 50 == 0:
                plan.log.append({"step": step, "loss": float(loss), "scenes": len(self.stock.scenes), **self._told()})
                print(json.dumps({**plan.log[-1], "seconds": round(time.monotonic() - start)}), flush=True)  # noqa: T201
        return step

    def _pictures(self, rigs: list[Rig]) -> Iterator[Any]:
        """Photographs of scenes without end."""
        while True:
            for linear, labels, size, zoom in self._next_pictures(rigs)[:1]:
                yield photograph(self.rng, linear, labels, size, zoom)[0]

    def _count(self, logits: Any, truth: Any, burnt: Any) -> None:
        """Add up recalls and spot overlap on the training pictures."""
        state, ground = truth[:, 0, ::2, ::2], truth[:, 1, ::2, ::2] > 0
        told, spot = logits[:, :6].argmax(1), logits[:, 7] > 0
        inside = ground & (burnt[:, ::2, ::2] == 0)
        bright, oxide = inside & (state == 1), inside & (state == 2)
        sums = [bright & (told == 1), bright, oxide & (told >= 2), oxide, spot & ground, spot | ground]
        self.seen += torch.stack([x.sum() for x in sums]).float()

    def _told(self) -> dict[str, float]:
        """Figures on the training pictures since the last call."""
        a, b, c, d, e, f = (float(x) + 1e-9 for x in self.seen)
        self.seen.zero_()
        return {"bright": round(a / b, 3), "oxide": round(c / d, 3), "iou": round(e / f, 3)}

    def _next_pictures(self, rigs: Any) -> list[Any]:
        """Light the next windows: two out of three times crops, else whole scenes; each is photographed three times."""
        plan, shape = self.plan, tuple(self.stock.scenes[0].shape[1:])
        if self.rng.random() < 0.55:
            side = min(plan.crop, *shape)
            size, count, zoom = (side, side), plan.batch, (0.6, 1.1)
        else:
            size, count, zoom = (shape[0], shape[1]), plan.full_batch, (0.75, 1.35)
        linear, labels = linear_batch(self.rng, rigs, self.stock, count, size, plan.samples)
        return [(linear, labels, size, zoom)] * 3

    def _step(self, linear: Any, labels: Any, size: Any, zoom: Any, crops: Any, progress: float) -> Any:
        """Take one optimiser step."""
        rate = self.plan.rate * min(1.0, progress / 0.03 + 0.02) * (0.02 + 0.98 * 0.5 * (1 + np.cos(np.pi * progress)))
        for group in self.optimiser.param_groups:
            group["lr"] = rate
        pictures, truth = photograph(self.rng, linear, labels, size, zoom)
        with torch.autocast(self.device.type, torch.bfloat16, enabled=self.device.type == "cuda"):
            logits = self.eye(pictures.contiguous(memory_format=torch.channels_last))
        burnt = (pictures.amin(1) >= 250 / 255).float()
        loss = scene_loss(logits, truth, burnt)
        self._count(logits.detach(), truth, burnt)
        if self.photos and self.plan.real_batch:
            images, points = next(crops)
            seen = augment.recolour(self.rng, images.to(self.device).float() / 255)
            with torch.autocast(self.device.type, torch.bfloat16, enabled=self.device.type == "cuda"):
                logits = self.eye(seen.contiguous(memory_format=torch.channels_last))
            loss = loss + 0.35 * point_loss(logits, points.to(self.device), self.accepted)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(self.eye.parameters(), 1.0)
        self.optimiser.step()
        self._average(progress)
        return loss.detach()

    def _average(self, progress: float) -> None:
        """Keep a running average of the weights, slower towards the end."""
        keep = 0.9 if progress < 0.1 else 0.995
        for name, value in self.eye.state_dict().items():
            if value.dtype.is_floating_point:
                self.average[name].lerp_(value.detach(), 1 - keep)
            else:
                self.average[name].copy_(value)


def save(path: Path, weights: dict[str, Any], notes: dict[str, Any]) -> None:
    """Write a checkpoint: float32 weights and plain notes."""
    plain = {k: v.detach().float().cpu() if v.dtype.is_floating_point else v.cpu() for k, v in weights.items()}
    torch.save({"weights": plain, "notes": notes}, path)


def load(path: Path) -> tuple[Eye, dict[str, Any]]:
    """Read a checkpoint."""
    stored = torch.load(path, map_location="cpu", weights_only=True)
    eye = Eye()
    eye.load_state_dict(stored["weights"])
    return eye, stored["notes"]


__all__ = ["Fit", "Plan", "Stock", "load", "save"]
