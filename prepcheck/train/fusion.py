"""Learns how the photos of a moved-light set are weighed: a net of a few hundred numbers, fitted with numpy.

Sets are an evaluation folder whose meta files hold ``group`` and ``to_first`` (`prepcheck.train sets`). Its size and how
far it is held back are chosen by cross-validation over whole sets of the learn folders; nothing else is looked at::

    python -m prepcheck.train.fusion LEARN_FOLDER [LEARN_FOLDER ...] --out models
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.evaluate.sets import View, read_sets
from prepcheck.settings import Settings
from prepcheck.surface import Model, load_model
from prepcheck.surface.moved_evidence import NAMES, Planes, Views, evidence, lay_over, movement
from prepcheck.surface.moved_light import Calibration, Numbers, mean_chances, with_bright
from prepcheck.terms import State
from prepcheck.train.calibrate import Seen, choose_sure, conformal, errors

Rows = NDArray[np.float32]
PLACES = 1200
"""Places drawn from the readable ground of a set for the fit."""

FOLDS = 5
HIDDEN = (0, 16)
DECAYS = (3e-3, 1e-2, 3e-2)
SLIP_PX = 0.7
"""Standard deviation of the misalignment put in on each axis, px at a long side of 1280: what alignment leaves over."""


@dataclass(frozen=True, eq=False)
class Sample:
    """The readable ground of some photos of a set: evidence (n, 25), chances of the mean (n, 7), true states (n,)."""

    group: int
    photos: int
    evidence: Rows = field(repr=False)
    chances: Rows = field(repr=False)
    truth: NDArray[np.uint8] = field(repr=False)
    moved: float
    case: str

    @property
    def bright(self) -> Rows:
        """Whether each place is bright metal, 0 or 1."""
        return np.asarray(self.truth == State.BRIGHT, np.float32)


def gather(folders: Sequence[Path], model: Model, settings: Settings, seed: int = 0) -> list[Sample]:
    """Measure every set of some folders: the first photo alone, with each other one, and with two others."""
    rng = np.random.default_rng(seed)
    samples = []
    sets = (one for folder in folders for one in read_sets(folder, model, settings))
    for group, (_name, views) in enumerate(sets):
        for some in _picks(views):
            sample = _sample(group, some, rng)
            if sample is not None:
                samples.append(sample)
    return samples


def learn(samples: Sequence[Sample], model_sha256: str, seed: int = 0) -> tuple[Numbers, dict[str, Any]]:
    """Choose the size and decay by cross-validation over sets, fit all sets, and calibrate on left-out answers.

    Returns
    -------
    numbers : Numbers
        For `prepcheck.surface.moved_light`.
    facts : dict
        Log losses of every choice and of the mean of log probabilities, counts, and the calibration's own checks.
    """
    tried: dict[str, float] = {}
    best: tuple[float, int, float] = (np.inf, 0, 0.0)
    for hidden in HIDDEN:
        for decay in DECAYS:
            loss = float(np.mean([_loss(o, s) for s, o in _left_out(samples, hidden, decay, seed)]))
            tried[f"{hidden} hidden, decay {decay:g}"] = round(loss, 4)
            best = min(best, (loss, hidden, decay))
    _, hidden, decay = best
    answers = list(_left_out(samples, hidden, decay, seed))
    calibration, checks = _calibrated(answers)
    numbers = _numbers(_fit(samples, hidden, decay, seed), model_sha256, calibration)
    facts = {
        "sets": len({s.group for s in samples}), "seed": seed, "chosen": {"hidden": hidden, "decay": decay},
        "log_loss_left_out": tried, "log_loss_of_mean": round(float(np.mean([_mean_loss(s) for s in samples])), 4),
        "numbers": sum(np.size(v) for v in (numbers.hidden, numbers.hidden_offset, numbers.out, numbers.straight)) + 1,
        "calibration": checks, "least_moved": _movements(samples),
    }  # fmt: skip
    return numbers, facts


def write(path: Path, numbers: Numbers, facts: dict[str, Any]) -> None:
    """Write the learned numbers, rounded to six digits, and how they came about, to one JSON file."""
    plain = json.loads(json.dumps(numbers.model_dump()), parse_float=lambda text: float(f"{float(text):.6g}"))
    path.write_text(json.dumps({**plain, "facts": facts}) + "\n", encoding="utf-8")


def least_moved(moved: Sequence[float], still: Sequence[float]) -> tuple[float, float]:
    """Return the threshold that mixes up the fewest moved and still sets, in equal parts, and the share mixed up."""
    edges = np.unique(np.concatenate([moved, still]))
    middles = (edges[1:] + edges[:-1]) / 2
    wrong = [(float(np.mean(np.less(moved, e)) + np.mean(np.greater_equal(still, e))) / 2, float(e)) for e in middles]
    least = min(wrong)[0]
    return float(np.median([e for share, e in wrong if share == least])), least


def _movements(samples: Sequence[Sample]) -> dict[str, float]:
    """Where the pairs of a moved and of a still torch part best; empty without both kinds."""
    moved, still = ([s.moved for s in samples if s.photos == 2 and s.case == case] for case in ("moved", "still"))
    if not moved or not still:
        return {}
    threshold, mixed = least_moved(moved, still)
    called = {"moved_called_still": float(np.mean(np.less(moved, threshold))), "pairs": len(moved), "still": len(still)}
    return {"threshold": threshold, "mixed_up": mixed, **called}


def _picks(views: Sequence[View]) -> list[list[View]]:
    return (
        [[one] for one in views[:1]] + [[views[0], one] for one in views[1:]] + ([list(views[:3])] if views[2:] else [])
    )


def _sample(group: int, views: Sequence[View], rng: np.random.Generator) -> Sample | None:
    first = views[0]
    laid = lay_over([v.photo for v in views], [v.surface for v in views], [_slipped(v, rng) for v in views[1:]])
    truth, inside = _truth(first, laid)
    picks = np.flatnonzero(inside)
    if len(picks) < 300:
        return None
    picks = rng.choice(picks, min(PLACES, len(picks)), replace=False)
    flat = truth.ravel()[picks]
    return Sample(
        group,
        len(views),
        _at(evidence(laid), picks),
        _at(mean_chances(laid), picks),
        flat,
        movement(laid),
        first.truth.split.get("case", ""),
    )


def _truth(first: View, views: Views) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Return the true states at map size and where they are readable ground."""
    size = views.burnt.shape[::-1]
    truth = np.asarray(cv2.resize(first.truth.states, size, interpolation=cv2.INTER_NEAREST_EXACT), np.uint8)
    ground = cv2.resize(first.truth.ground.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST_EXACT) > 0
    return truth, np.asarray(ground & ~views.burnt & (truth >= State.BRIGHT) & (truth <= State.FOREIGN))


def _slipped(view: View, rng: np.random.Generator) -> NDArray[np.float64]:
    slip = np.eye(3)
    slip[:2, 2] = rng.normal(0, SLIP_PX * max(view.photo.width, view.photo.height) / 1280, 2)
    return np.asarray(slip @ view.to_first)


def _at(planes: Planes, picks: NDArray[np.int64]) -> Rows:
    return np.ascontiguousarray(planes.reshape(len(planes), -1)[:, picks].T)


@dataclass
class _Net:
    """The numbers while they are fitted."""

    middle: Rows
    spread: Rows
    parts: dict[str, NDArray[np.float32]]

    def odds(self, measured: Rows) -> Rows:
        return self.run(np.clip((measured - self.middle) / self.spread, -5, 5))[1]

    def run(self, x: Rows) -> tuple[Rows, Rows]:
        p = self.parts
        hidden = np.maximum(x @ p["hidden"] + p["hidden_offset"], 0)
        return hidden, hidden @ p["out"] + x @ p["straight"] + p["out_offset"]


def _fit(samples: Sequence[Sample], hidden: int, decay: float, seed: int, epochs: int = 8) -> _Net:
    """Least log loss by Adam (Kingma and Ba 2015), every set weighing the same."""
    measured = np.concatenate([s.evidence for s in samples])
    bright = np.concatenate([s.bright for s in samples])
    weight = np.concatenate([np.full(len(s.truth), PLACES / len(s.truth), np.float32) for s in samples])
    net = _start(measured, hidden, seed)
    x = np.clip((measured - net.middle) / net.spread, -5, 5)
    rng, step = np.random.default_rng(seed), 0
    first, second = ({k: np.zeros_like(v) for k, v in net.parts.items()} for _ in range(2))
    steps = epochs * (len(x) // 512)
    for _ in range(epochs):
        for batch in np.array_split(rng.permutation(len(x)), max(1, len(x) // 512)):
            step += 1
            slopes = _slopes(net, x[batch], bright[batch], weight[batch], decay)
            rate = 4e-3 * 0.5 * (1 + np.cos(np.pi * step / max(steps, 1)))
            for key, slope in slopes.items():
                first[key] = 0.9 * first[key] + 0.1 * slope
                second[key] = 0.999 * second[key] + 0.001 * slope * slope
                scale = np.sqrt(second[key] / (1 - 0.999**step)) + 1e-8
                net.parts[key] -= np.float32(rate) * (first[key] / (1 - 0.9**step) / scale).astype(np.float32)
    return net


def _start(measured: Rows, hidden: int, seed: int) -> _Net:
    rng, inputs = np.random.default_rng(seed), measured.shape[1]
    parts = {
        "hidden": rng.normal(0, inputs**-0.5, (inputs, hidden)).astype(np.float32),
        "hidden_offset": np.zeros(hidden, np.float32), "out": np.zeros(hidden, np.float32),
        "straight": np.zeros(inputs, np.float32), "out_offset": np.zeros((), np.float32),
    }  # fmt: skip
    spread = np.maximum(measured.std(axis=0), 1e-3)
    parts["straight"][0], parts["out_offset"] = spread[0], np.asarray(measured[:, 0].mean(), np.float32)
    return _Net(measured.mean(axis=0), spread, parts)


def _slopes(net: _Net, x: Rows, bright: Rows, weight: Rows, decay: float) -> dict[str, NDArray[np.float32]]:
    hidden, odds = net.run(x)
    wrong = weight * (_chance(odds) - bright) / len(x)
    back = np.outer(wrong, net.parts["out"]) * (hidden > 0)
    slopes = {
        "hidden": x.T @ back, "hidden_offset": back.sum(axis=0), "out": hidden.T @ wrong,
        "straight": x.T @ wrong, "out_offset": wrong.sum(),
    }  # fmt: skip
    return {k: v + (decay * net.parts[k] if k in ("hidden", "out", "straight") else 0) for k, v in slopes.items()}


def _chance(odds: Rows) -> Rows:
    return np.asarray(1 / (1 + np.exp(-np.clip(odds, -15, 15))), np.float32)


def _loss(odds: Rows, sample: Sample) -> float:
    p = np.clip(_chance(odds), 1e-6, 1 - 1e-6)
    return float(-np.mean(np.log(np.where(sample.bright > 0, p, 1 - p))))


def _mean_loss(sample: Sample) -> float:
    p = np.clip(sample.chances[:, State.BRIGHT], 1e-6, 1 - 1e-6)
    return _loss(np.log(p / (1 - p)), sample)


def _left_out(samples: Sequence[Sample], hidden: int, decay: float, seed: int) -> Iterator[tuple[Sample, Rows]]:
    """Answer for every sample by a net fitted on other sets."""
    for fold in range(FOLDS):
        net = _fit([s for s in samples if s.group % FOLDS != fold], hidden, decay, seed)
        yield from ((s, net.odds(s.evidence)) for s in samples if s.group % FOLDS == fold)


def _calibrated(answers: Sequence[tuple[Sample, Rows]]) -> tuple[dict[int, Calibration], dict[str, Any]]:
    numbers, checks = {}, {}
    for count in sorted({sample.photos for sample, _ in answers}):
        seen = [Seen(with_bright(s.chances.T, odds).T, s.truth) for s, odds in answers if s.photos == count]
        sure = choose_sure(seen)
        scale, floor = conformal(rows := errors(seen, sure))
        numbers[count] = Calibration(sure=sure, error_scale=scale, error_floor=floor)
        checks[str(count)] = {"samples": len(seen), "share_error": round(float(rows[:, 0].mean()), 4)}
    return numbers, checks


def _numbers(net: _Net, model_sha256: str, calibration: dict[int, Calibration]) -> Numbers:
    p = {key: value.tolist() for key, value in net.parts.items()}
    return Numbers(
        model_sha256=model_sha256, names=list(NAMES), middle=net.middle.tolist(), spread=net.spread.tolist(),
        hidden=p["hidden"], hidden_offset=p["hidden_offset"], out=p["out"], out_offset=p["out_offset"],
        straight=p["straight"], calibration=calibration,
    )  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """Learn from folders of sets and write ``moved_light.json``."""
    parser = argparse.ArgumentParser(prog="python -m prepcheck.train.fusion", description=__doc__)
    parser.add_argument("folders", type=Path, nargs="+", help="folders of moved-light sets with truth")
    parser.add_argument("--model", default=None, help="name in the registry; its default otherwise")
    parser.add_argument("--out", type=Path, default=Path("models"))
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args(arguments)
    model = load_model(options.model)
    samples = gather(options.folders, model, Settings(), options.seed)
    numbers, facts = learn(samples, model.origin.sha256, options.seed)
    write(options.out / "moved_light.json", numbers, {"model": model.origin.name, **facts})
    print(json.dumps(facts, indent=1))  # noqa: T201
    return 0


if __name__ == "__main__":
    sys.exit(main())
