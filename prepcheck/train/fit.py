"""Fit the net on scenes and on labelled photographs together, from a checkpoint, for a given time, on any number of GPUs."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import torch
from torch import distributed
from torch.optim.swa_utils import AveragedModel, get_ema_multi_avg_fn

from prepcheck.train import real
from prepcheck.train.album import Album
from prepcheck.train.feed import Batch, Feed, beside, rig_pool
from prepcheck.train.losses import guess_loss, photo_loss, scene_loss
from prepcheck.train.net import Eye
from prepcheck.train.stock import Library
from prepcheck.train.teacher import Teacher, teach_loss

KEEP_EVERY = 500
"""Steps between checkpoints, so that a run that is cut off loses little."""


@dataclass(frozen=True)
class Plan:
    """How to fit.

    Attributes
    ----------
    seconds, steps : float, int
        Time for fitting and upper limit of steps; whichever is used up first.
    scenes : tuple of Path
        Folders of packed and rendered scenes.
    photos : tuple of Path
        Folders of photographs, with `regions` (archive of label maps) or ``points.json``; may be empty.
    everything : bool
        Fit on photographs of held-out groups too.
    part : tuple of float
        Which part of the whole fit this run is, from 0 to 1: the learning rate goes by the whole.
    rate, encoder_rate : float
        Highest learning rates; see :func:`pace`.
    samples : int
        Half vectors a pixel when lighting.
    ring, refresh : int, float
        Lit pictures kept, and pictures lit anew at every step.
    rendered : float
        Share of rendered scenes among the new pictures.
    freeze_from : float
        Part of the run after which batch norm keeps its statistics.
    taught : bool
        Fit a large net beside and let the small one learn from it.
    smaller : int
        Divide all window counts and sizes by this (for a run on a small machine).
    """

    seconds: float
    scenes: tuple[Path, ...]
    photos: tuple[Path, ...] = ()
    regions: Path | None = None
    part: tuple[float, float] = (0.0, 1.0)
    rate: float = 2e-3
    encoder_rate: float = 6e-4
    samples: int = 10
    steps: int = 10**9
    seed: int = 0
    workers: int = 6
    rigs: int = 3000
    ring: int = 3000
    refresh: float = 1.0
    rendered: float = 0.4
    freeze_from: float = 0.85
    taught: bool = False
    smaller: int = 1
    everything: bool = False
    log: list[dict[str, float]] = field(default_factory=list)


def photos_of(plan: Plan) -> list[real.Photo]:
    """Photographs to fit on: those of held-out groups are left out unless the plan says everything."""
    found = [p for folder in plan.photos for p in real.load_photos(folder, plan.regions)]
    return [p for p in found if plan.everything or not real.held_out(p.file)]


def freeze_norms(eye: Eye, average: Eye) -> None:
    """Stop batch norm from following the batch; it keeps the averaged statistics."""
    steady = dict(average.named_modules())
    for name, module in eye.named_modules():
        if isinstance(module, torch.nn.BatchNorm2d) and module.training:
            module.running_mean.copy_(steady[name].running_mean)
            module.running_var.copy_(steady[name].running_var)
            module.eval()


def pace(progress: float) -> float:
    """Learning rate as a share of the highest, at a progress from 0 to 1: up over the first 3 %, down by a cosine to 1 %."""
    fall = 0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * min(progress, 1.0)))
    return min(1.0, progress / 0.03 + 0.02) * fall


class Fit:
    """One run of fitting, one process of it for each device."""

    def __init__(
        self, eye: Eye, plan: Plan, device: Any, rank: int = 0, ranks: int = 1, teacher: Teacher | None = None
    ) -> None:
        self.plan, self.device, self.rank, self.ranks = plan, device, rank, ranks
        self.eye = eye.to(device).to(memory_format=torch.channels_last).train()
        self.teacher = None if teacher is None else teacher.to(device).to(memory_format=torch.channels_last).train()
        self.library = Library(list(plan.scenes), rank, ranks)
        photos = photos_of(plan)
        self.photos = len(photos)
        self.feed = Feed(
            self.library, Album(photos, device) if photos else None, rig_pool(plan.seed, plan.rigs, plan.workers), device,
            ring=plan.ring, refresh=plan.refresh, samples=plan.samples, rendered=plan.rendered, smaller=plan.smaller,
            seed=plan.seed, rank=rank, workers=plan.workers,
        )  # fmt: skip
        self.accepted = torch.from_numpy(real.accepted_matrix()).to(device)
        self.average = AveragedModel(self.eye, multi_avg_fn=get_ema_multi_avg_fn(0.998), use_buffers=True)
        self.seen = torch.zeros(2, 6, device=device)
        self.optimiser = torch.optim.AdamW(self._groups(), plan.rate, fused=device.type == "cuda")

    def _groups(self) -> list[dict[str, Any]]:
        """Parameters by learning rate, and by whether they decay."""
        named = list(self.eye.named_parameters())
        encoder = [p for n, p in named if n.startswith("encoder.")]
        rest = [p for n, p in named if not n.startswith("encoder.")]
        if self.teacher is not None:
            rest += self.teacher.parameters()
        return [
            {"params": [p for p in mine if (p.ndim > 1) == matrix], "weight_decay": 0.02 * matrix, "highest": rate}
            for mine, rate in ((encoder, self.plan.encoder_rate), (rest, self.plan.rate))
            for matrix in (True, False)
        ]

    def _parameters(self) -> list[Any]:
        """All that is fitted."""
        return [p for group in self.optimiser.param_groups for p in group["params"]]

    def run(self, keep: Callable[[], None]) -> int:
        """Fit until the time or the steps are used up, calling `keep` on the way; returns the number of steps."""
        plan = self.plan
        start, step, done = time.monotonic(), 0, 0.0
        for batch in beside(self.feed.batch, self.device):
            progress = plan.part[0] + (plan.part[1] - plan.part[0]) * done
            if progress > plan.freeze_from:
                freeze_norms(self.eye, self.average.module)
            loss = self._step(batch, progress)
            step += 1
            if step % 10 == 0 or step >= plan.steps:
                done = self._agree(max((time.monotonic() - start) / plan.seconds, step / plan.steps))
            if step % 100 == 0:
                self.library.look_again()
                self._tell(step, loss, time.monotonic() - start)
            if step % KEEP_EVERY == 0:
                keep()
            if done >= 1.0:
                break
        return step

    def _agree(self, done: float) -> float:
        """All processes go by the furthest of them, so that they stop together."""
        if self.ranks == 1:
            return done
        furthest = torch.tensor([done], device=self.device)
        distributed.all_reduce(furthest, distributed.ReduceOp.MAX)
        return float(furthest)

    def _step(self, batch: Batch, progress: float) -> Any:
        """Take one optimiser step on scenes and photographs together (so that batch norm sees both)."""
        with torch.autocast(self.device.type, torch.bfloat16, enabled=self.device.type == "cuda"):
            logits, guess, features = self.eye.in_full(batch.pictures)
            large = None if self.teacher is None else self.teacher(batch.pictures, logits, features)
        count = len(batch.truth)
        loss = self._loss(logits, batch) + 0.3 * guess_loss(guess[:count], batch.truth)
        self._count(0, logits[:count].detach(), batch)
        if large is not None:
            loss = loss + self._loss(large, batch) + teach_loss(logits, large)
            self._count(1, large[:count].detach(), batch)
        self._descend(loss, progress)
        return loss.detach()

    def _loss(self, logits: Any, batch: Batch) -> Any:
        """Loss of what a net says of scenes and photographs."""
        count = len(batch.truth)
        loss = scene_loss(logits[:count], batch.truth, batch.burnt)
        if batch.labels is not None:
            loss = loss + 0.6 * photo_loss(logits[count:], batch.labels, self.accepted)
        return loss

    def _descend(self, loss: Any, progress: float) -> None:
        """Go down the gradient, shared by all processes."""
        for group in self.optimiser.param_groups:
            group["lr"] = group["highest"] * pace(progress)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        if self.ranks > 1:
            self._share_gradients()
        for net in (self.eye, self.teacher):
            if net is not None:
                torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        self.optimiser.step()
        self.average.update_parameters(self.eye)

    def _share_gradients(self) -> None:
        """Replace gradients by their mean over all processes."""
        gradients = [p.grad for p in self._parameters()]
        flat = torch.cat([g.flatten() for g in gradients])
        distributed.all_reduce(flat)
        parts = (flat / self.ranks).split([g.numel() for g in gradients])
        for gradient, part in zip(gradients, parts, strict=True):
            gradient.copy_(part.view_as(gradient))

    def _count(self, net: int, logits: Any, batch: Batch) -> None:
        """Add up recalls and spot overlap on the training pictures, of the small net (0) and of the large one (1)."""
        state, ground = batch.truth[:, 0, ::2, ::2], batch.truth[:, 1, ::2, ::2] > 0
        told, spot = logits[:, :6].argmax(1), logits[:, 7] > 0
        inside = ground & (batch.burnt == 0)
        bright, oxide = inside & (state == 1), inside & (state == 2)
        sums = [bright & (told == 1), bright, oxide & (told >= 2), oxide, spot & ground, spot | ground]
        self.seen[net] += torch.stack([x.sum() for x in sums]).float()

    def _tell(self, step: int, loss: Any, seconds: float) -> None:
        """Log the figures on the training pictures since the last call."""
        told, large = (_shares(sums) for sums in self.seen.tolist())
        self.seen.zero_()
        files = {
            "packed": len(self.library.packed),
            "rendered": len(self.library.rendered),
            "lit": self.feed.ring.count,
        }
        if self.teacher is not None:
            told |= {f"large_{name}": share for name, share in large.items()}
        self.plan.log.append({"step": step, "loss": round(float(loss), 3), "seconds": round(seconds), **files, **told})
        if self.rank == 0:
            print(json.dumps(self.plan.log[-1]), flush=True)  # noqa: T201


def _shares(sums: list[float]) -> dict[str, float]:
    """Recall of bright metal and of oxide, overlap of spots, from sums of pixels."""
    found = zip(("bright", "oxide", "iou"), sums[::2], sums[1::2], strict=True)
    return {name: round(part / max(whole, 1e-9), 3) for name, part, whole in found}


@dataclass(frozen=True)
class Checkpoint:
    """What a run leaves: the averaged weights (to be used), the last ones and the optimiser (to go on from), notes.

    A checkpoint brought back from an exported model has no optimiser; only a taught one has the large net's weights.
    """

    average: dict[str, Any]
    last: dict[str, Any]
    optimiser: dict[str, Any] | None
    notes: dict[str, Any]
    teacher: dict[str, Any] | None = None


def save(path: Path, checkpoint: Checkpoint) -> None:
    """Write a checkpoint; one that is there is replaced as a whole."""
    part = path.with_suffix(".part")
    torch.save(vars(checkpoint), part)
    part.replace(path)


def load(path: Path) -> Checkpoint:
    """Read a checkpoint."""
    return Checkpoint(**torch.load(path, map_location="cpu", weights_only=True))


def put_in(eye: Eye, weights: dict[str, Any]) -> bool:
    """Load weights; returns whether they are of the net as it is now, and not from before it grew.

    Weights from before lack those of :attr:`Eye.GROWN`, which stay as they are: silent.

    Raises
    ------
    ValueError
        If any others are missing or left over.
    """
    missing, left = eye.load_state_dict(weights, strict=False)
    lost = [name for name in missing if not name.startswith(Eye.GROWN)]
    if lost or left:
        raise ValueError(f"the checkpoint is of another net: {', '.join((lost + left)[:3])}")
    return not missing


def averaged(path: Path) -> tuple[Eye, dict[str, Any]]:
    """Give the net of a checkpoint, with its averaged weights, and the notes."""
    stored = load(path)
    eye = Eye()
    put_in(eye, stored.average)
    return eye.eval(), stored.notes


def fit(rank: int, ranks: int, plan: Plan, checkpoint: Path, encoder: Path | None) -> None:
    """Run one process of a fit on its device; the first process writes the checkpoint.

    Goes on from the checkpoint if it exists, else starts from the encoder's published weights (if given).
    """
    torch.manual_seed(plan.seed)  # all processes start from the same weights
    stored = load(checkpoint) if checkpoint.exists() else None
    eye, notes = Eye(), stored.notes if stored else {"runs": []}
    if stored:
        same = put_in(eye, stored.last)
    elif encoder is not None:
        eye.encoder.load_pretrained(encoder)
    teacher = Teacher() if plan.taught else None
    device = torch.device(f"cuda:{rank}" if torch.cuda.is_available() else "cpu")
    if ranks > 1:
        torch.cuda.set_device(device)
        distributed.init_process_group("nccl", init_method="tcp://127.0.0.1:29511", rank=rank, world_size=ranks)
    torch.manual_seed(plan.seed * 64 + rank)
    run = Fit(eye, plan, device, rank, ranks, teacher)
    if stored:
        if stored.teacher is not None and run.teacher is not None:
            run.teacher.load_state_dict(stored.teacher)
        if stored.optimiser is not None and same and (stored.teacher is None) == (run.teacher is None):
            run.optimiser.load_state_dict(stored.optimiser)  # that of other nets does not fit
        put_in(run.average.module, stored.average)
        run.average.n_averaged.fill_(1)

    def keep() -> None:
        if rank == 0:
            state = {k: v.cpu() for k, v in run.average.module.state_dict().items()}
            large = None if run.teacher is None else run.teacher.state_dict()
            save(checkpoint, Checkpoint(state, run.eye.state_dict(), run.optimiser.state_dict(), notes, large))

    steps = run.run(keep)
    if rank == 0:
        files = {"packed": len(run.library.packed) * ranks, "rendered": len(run.library.rendered) * ranks}
        facts = {"steps": steps, "devices": ranks, "seed": plan.seed, "seconds": plan.seconds, "part": list(plan.part)}
        notes["runs"].append({**facts, **files, "photos": run.photos, "log": plan.log[-1:]})
        keep()
        print(json.dumps(notes))  # noqa: T201
    if ranks > 1:
        distributed.destroy_process_group()
