"""Fit the net that sees the photos of a set together, behind a frozen eye, from a checkpoint, for a given time."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import torch
from torch.nn import functional
from torch.optim.swa_utils import AveragedModel, get_ema_multi_avg_fn

from prepcheck.terms import State
from prepcheck.train.feed import beside
from prepcheck.train.fit import KEEP_EVERY, Checkpoint, averaged, load, pace, save
from prepcheck.train.losses import dice, is_residue
from prepcheck.train.moved_feed import SetBatch, SetFeed, Sight, room_pool
from prepcheck.train.moved_net import Moved
from prepcheck.train.stock import Library

RESIDUE_WEIGHT = 1.8
"""Weight of residue against bright metal: both weigh alike over all scenes, in which 64 % of the ground is bright. Within a batch
they need not."""


@dataclass(frozen=True)
class Plan:
    """How to fit.

    Attributes
    ----------
    seconds, steps : float, int
        Time for fitting and upper limit of steps; whichever is used up first.
    scenes : tuple of Path
        Folders of packed and rendered scenes.
    eye : Path
        Checkpoint of the eye, whose averaged weights are used.
    temperature, oxide_bias : float
        Of the eye as it is exported; 1 and 0 for one that is not calibrated yet.
    smoothing_px : float
        How its maps are smoothed, in map pixels: the default of the product's settings, which this machine may lack.
    rate : float
        Highest learning rate; it rises over the first 3 % and falls to 1 % by a cosine.
    sets, ring, refresh, samples, rendered
        As in `prepcheck.train.moved_feed.SetFeed`.
    rooms : int
        Rooms drawn in advance.
    smaller : int
        Divide sets and ring by this (for a run on a small machine; the size of pictures is that of the scenes).
    """

    seconds: float
    scenes: tuple[Path, ...]
    eye: Path
    temperature: float = 1.0
    oxide_bias: float = 0.0
    smoothing_px: float = 1.5
    rate: float = 2e-3
    steps: int = 10**9
    seed: int = 0
    workers: int = 6
    sets: int = 6
    ring: int = 800
    refresh: float = 1.0
    samples: int = 8
    rendered: float = 0.3
    rooms: int = 2000
    smaller: int = 1
    log: list[dict[str, float]] = field(default_factory=list)


def judged(truth: Any, burnt: Any) -> Any:
    """Weight of each place, shape (B, h, w): readable ground alone, residue more than bright metal, small patches most.

    Parameters
    ----------
    truth : tensor of uint8, shape (B, 3, h, w)
        State, ground, care (32: one).
    burnt : tensor of float32, shape (B, h, w)
        1 where no photo shows anything.
    """
    state = truth[:, 0]
    bright = (state == State.BRIGHT).float()
    residue = is_residue(state).float()
    weight = (truth[:, 1] > 0) * (1 - burnt) * truth[:, 2].float() / 32
    return weight * (bright + RESIDUE_WEIGHT * residue)


def moved_loss(odds: Any, truth: Any, burnt: Any) -> Any:
    """Entropy of bright metal against residue inside the ground, and overlap of residue, from log odds (B, h, w)."""
    state = truth[:, 0]
    weight = judged(truth, burnt)
    wrong = is_residue(state).float()
    entropy = functional.binary_cross_entropy_with_logits(odds, 1 - wrong, reduction="none")
    inside = (weight > 0).float()
    return (entropy * weight).sum() / weight.sum().clip(1) + 0.3 * dice(torch.sigmoid(-odds) * inside, wrong * inside)


def counts(odds: Any, truth: Any, burnt: Any) -> Any:
    """Bright told bright, bright, residue told residue, residue: places inside the readable ground, shape (4,)."""
    inside = (truth[:, 1] > 0) & (burnt == 0)
    bright = inside & (truth[:, 0] == State.BRIGHT)
    residue = inside & is_residue(truth[:, 0])
    return torch.stack([x.sum() for x in (bright & (odds > 0), bright, residue & (odds <= 0), residue)]).float()


class MovedFit:
    """One run of fitting on one device."""

    def __init__(self, net: Moved, sight: Sight, plan: Plan, device: Any) -> None:
        self.plan, self.device = plan, device
        self.net = net.to(device).to(memory_format=torch.channels_last).train()
        self.library = Library(list(plan.scenes))
        ring, sets = max(2, plan.ring // plan.smaller**2), max(1, plan.sets // plan.smaller)
        self.feed = SetFeed(
            self.library, sight, room_pool(plan.seed, plan.rooms, plan.workers), device, sets=sets, ring=ring,
            refresh=plan.refresh, samples=plan.samples, rendered=plan.rendered, seed=plan.seed, workers=plan.workers,
        )  # fmt: skip
        self.average = AveragedModel(self.net, multi_avg_fn=get_ema_multi_avg_fn(0.998), use_buffers=True)
        self.seen = torch.zeros(2, 4, device=device)
        matrices, rest = ([p for p in self.net.parameters() if (p.ndim > 1) == kind] for kind in (True, False))
        groups = [{"params": matrices, "weight_decay": 0.02}, {"params": rest, "weight_decay": 0.0}]
        self.optimiser = torch.optim.AdamW(groups, plan.rate, fused=device.type == "cuda")

    def run(self, keep: Callable[[], None]) -> int:
        """Fit until the time or the steps are used up, calling `keep` on the way; returns the number of steps."""
        plan, start, step, done = self.plan, time.monotonic(), 0, 0.0
        for batch in beside(self.feed.batch, self.device):
            loss = self._step(batch, done)
            step += 1
            if step % 10 == 0 or step >= plan.steps:
                done = max((time.monotonic() - start) / plan.seconds, step / plan.steps)
            if step % 100 == 0 or done >= 1.0:
                self.library.look_again()
                self._tell(step, loss, time.monotonic() - start)
            if step % KEEP_EVERY == 0:
                keep()
            if done >= 1.0:
                break
        return step

    def _step(self, batch: SetBatch, progress: float) -> Any:
        """Take one optimiser step."""
        for group in self.optimiser.param_groups:
            group["lr"] = self.plan.rate * pace(progress)
        with torch.autocast(self.device.type, torch.bfloat16, enabled=self.device.type == "cuda"):
            odds = self.net(batch.pictures, batch.labels)
        loss = moved_loss(odds.float(), batch.truth, batch.burnt)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 1.0)
        self.optimiser.step()
        self.average.update_parameters(self.net)
        self.seen += torch.stack([counts(x, batch.truth, batch.burnt) for x in (batch.labels, odds.detach())])
        return loss.detach()

    def _tell(self, step: int, loss: Any, seconds: float) -> None:
        """Log balanced accuracy of the mean and of the net on the training sets since the last call."""
        mean, net = (round(float(a / b.clip(1) + c / d.clip(1)) / 2, 4) for a, b, c, d in self.seen.cpu())
        self.seen.zero_()
        lit = {"sets_lit": self.feed.ring.count, "scenes": len(self.library)}
        told = {"step": step, "loss": round(float(loss), 4), "seconds": round(seconds), **lit, "mean": mean, "net": net}
        self.plan.log.append(told)
        print(json.dumps(told), flush=True)  # noqa: T201


def averaged_moved(path: Path) -> tuple[Moved, dict[str, Any]]:
    """Give the net of a checkpoint, with its averaged weights, and the notes."""
    stored = load(path)
    net = Moved()
    net.load_state_dict(stored.average)
    return net.eval(), stored.notes


def fit_moved(plan: Plan, checkpoint: Path) -> int:
    """Fit on the first GPU, or on the CPU, going on from the checkpoint if it exists; returns the number of steps."""
    torch.manual_seed(plan.seed)
    device = torch.device("cuda:0" if torch.cuda.is_available() else "cpu")
    eye = averaged(plan.eye)[0].requires_grad_(False).to(device).to(memory_format=torch.channels_last)
    stored = load(checkpoint) if checkpoint.exists() else None
    net, notes = Moved(), stored.notes if stored else {"runs": []}
    if stored:
        net.load_state_dict(stored.last)
    run = MovedFit(net, Sight(eye, plan.temperature, plan.oxide_bias, plan.smoothing_px), plan, device)
    if stored:
        run.average.module.load_state_dict(stored.average)
        run.average.n_averaged.fill_(1)
        if stored.optimiser is not None:
            run.optimiser.load_state_dict(stored.optimiser)

    def keep() -> None:
        average, last = ({k: v.cpu() for k, v in m.state_dict().items()} for m in (run.average.module, run.net))
        save(checkpoint, Checkpoint(average, last, run.optimiser.state_dict(), notes))

    steps = run.run(keep)
    eye_file = hashlib.sha256(plan.eye.read_bytes()).hexdigest()
    facts = {"steps": steps, "seed": plan.seed, "seconds": plan.seconds, "eye_sha256": eye_file}
    notes["runs"].append({**facts, "scenes": len(run.library), "log": plan.log[-1:]})
    keep()
    return steps
