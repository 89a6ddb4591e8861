"""Learns how the photos of a moved-light set are weighed: a logistic regression on top of the mean, with numpy.

Sets are an evaluation folder whose meta files hold ``group`` and ``to_first`` (`prepcheck.train sets`). How
far it is held back, and how much the rarer kind counts, are chosen by cross-validation over whole sets of the learn folders
(least error at equal coverage among those no worse calibrated than the mean, or the mean alone where that errs less);
nothing else is looked at::

    python -m prepcheck.train.fusion LEARN_FOLDER [LEARN_FOLDER ...] --out models
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
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
from prepcheck.surface.moved_light import MOST_SPREADS, Numbers, with_bright
from prepcheck.surface.moved_net import Calibration
from prepcheck.terms import State
from prepcheck.train.calibrate import Seen, choose_sure, conformal, errors
from prepcheck.train.moved_feed import SLIP_PX

Rows = NDArray[np.float32]
PLACES = 1200
"""Places drawn from the readable ground of a set for the fit."""

FOLDS = 5
DECAYS = (0.003, 0.03, 0.3)
BALANCES = (0.0, 0.5, 1.0)
"""0: every place counts the same; 1: bright metal as a whole as much as all the rest."""
MEAN_ALONE = (np.inf, 0.0)
"""Decay and balance that leave the mean as it is; it stands where no weights err less."""
TOLD = 0.95
"""Share of bright and oxide places, surest first, over which errors are compared."""

_KINDS = (State.BRIGHT, State.OXIDE)


@dataclass(frozen=True, eq=False)
class Sample:
    """The readable ground of some photos of a set: evidence (n, 19), chances of the mean (n, 7), true states (n,)."""

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


def gather(
    folders: Sequence[Path], model: Model, settings: Settings, seed: int = 0,
    measure: Callable[[Views], Planes] = evidence,
) -> list[Sample]:  # fmt: skip
    """Measure every set of some folders: the first photo alone, with each other one, and with two others."""
    rng = np.random.default_rng(seed)
    samples = []
    sets = (one for folder in folders for one in read_sets(folder, model, settings))
    for group, (_name, views) in enumerate(sets):
        for some in _picks(views):
            sample = _sample(group, some, rng, measure)
            if sample is not None:
                samples.append(sample)
    return samples


def learn(samples: Sequence[Sample], model_sha256: str, seed: int = 0) -> tuple[Numbers, dict[str, Any]]:
    """Choose decay and balance by cross-validation over sets, fit all sets, and calibrate on left-out answers.

    Returns
    -------
    numbers : Numbers
        For `prepcheck.surface.moved_light`.
    facts : dict
        Left-out log loss and error of every choice and of the mean, counts, and the calibration's own checks.
    """
    tried = {(d, b): rated(_left_out(samples, d, b)) for d in DECAYS for b in BALANCES}
    mean = rated([(s, s.evidence[:, 0]) for s in samples])
    sound = {choice: rated for choice, rated in tried.items() if rated["log_loss"] <= mean["log_loss"]}
    best = min(sound, key=lambda choice: sound[choice]["error"], default=None)
    if best is None or mean["error"] <= sound[best]["error"]:
        best = MEAN_ALONE
    decay, balance = best
    calibration, checks = calibrated(_left_out(samples, decay, balance))
    fitted = _fit(samples, decay, balance)
    chosen = "the mean alone" if best == MEAN_ALONE else {"decay": decay, "balance": balance}
    facts = {
        "sets": len({s.group for s in samples}), "seed": seed, "chosen": chosen,
        "left_out": {f"decay {d:g}, balance {b:g}": rated for (d, b), rated in tried.items()}, "mean": mean,
        "calibration": checks, "least_moved": movements(samples),
    }  # fmt: skip
    return _numbers(fitted, model_sha256, calibration), facts


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


def movements(samples: Sequence[Sample]) -> dict[str, float]:
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


def _sample(
    group: int, views: Sequence[View], rng: np.random.Generator, measure: Callable[[Views], Planes]
) -> Sample | None:
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
        _at(measure(laid), picks),
        _at(laid.mean, picks),
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


@dataclass(frozen=True, eq=False)
class _Fitted:
    """Weights of the evidence, evened out by its middle and spread."""

    middle: Rows
    spread: Rows
    weights: Rows
    offset: float

    def odds(self, measured: Rows) -> Rows:
        return np.asarray(
            measured[:, 0] + _even(measured, self.middle, self.spread) @ self.weights + self.offset, np.float32
        )


def _even(measured: Rows, middle: Rows, spread: Rows) -> Rows:
    return np.asarray(np.clip((measured - middle) / spread, -MOST_SPREADS, MOST_SPREADS), np.float32)


def _fit(samples: Sequence[Sample], decay: float, balance: float, steps: int = 8) -> _Fitted:
    """Least log loss with a quadratic decay by Newton's method; every set weighs the same."""
    measured = np.concatenate([s.evidence for s in samples])
    bright = np.concatenate([s.bright for s in samples])
    weight = _weights(samples, bright, balance)
    middle, spread = measured.mean(axis=0), np.maximum(measured.std(axis=0), 1e-3)
    if np.isinf(decay):
        return _Fitted(middle, spread, np.zeros(len(middle), np.float32), 0.0)
    x = np.c_[_even(measured, middle, spread), np.ones(len(measured), np.float32)]
    held = decay * np.diag([1.0] * (x.shape[1] - 1) + [0.0])
    found = np.zeros(x.shape[1])
    for _ in range(steps):
        chance = _chance(measured[:, 0] + x @ found)
        slope = x.T @ (weight * (chance - bright)) + held @ found
        bend = (x * (weight * chance * (1 - chance))[:, None]).T @ x + held + 1e-6 * np.eye(len(found))
        found = found - np.linalg.solve(bend, slope)
    return _Fitted(middle, spread, found[:-1].astype(np.float32), float(found[-1]))


def _weights(samples: Sequence[Sample], bright: Rows, balance: float) -> Rows:
    weight = np.concatenate([np.full(len(s.truth), 1 / len(s.truth)) for s in samples])
    shares = [float(weight[bright == kind].sum() / weight.sum()) for kind in (0, 1)]
    weight *= np.where(bright > 0, (0.5 / shares[1]) ** balance, (0.5 / shares[0]) ** balance)
    return np.asarray(weight / weight.sum(), np.float32)


def _chance(odds: NDArray[Any]) -> Rows:
    return np.asarray(1 / (1 + np.exp(-np.clip(odds, -15, 15))), np.float32)


def rated(answers: Sequence[tuple[Sample, Rows]]) -> dict[str, float]:
    """Mean log loss a set, and 1 - balanced accuracy over the surest places, of sets of two and more photos."""
    several = [(s, odds) for s, odds in answers if s.photos > 1]
    odds, truth = np.concatenate([o for _, o in several]), np.concatenate([s.truth for s, _ in several])
    sure = np.abs(odds) >= np.quantile(np.abs(odds[np.isin(truth, _KINDS)]), 1 - TOLD)
    right = [float(np.mean((odds[sure & (truth == kind)] > 0) == (kind == State.BRIGHT))) for kind in _KINDS]
    return {
        "log_loss": round(float(np.mean([_loss(o, s) for s, o in several])), 4),
        "error": round(1 - sum(right) / 2, 4),
    }


def _loss(odds: Rows, sample: Sample) -> float:
    p = np.clip(_chance(odds), 1e-6, 1 - 1e-6)
    return float(-np.mean(np.log(np.where(sample.bright > 0, p, 1 - p))))


def _left_out(samples: Sequence[Sample], decay: float, balance: float) -> list[tuple[Sample, Rows]]:
    """Answer for every sample by weights fitted on other sets."""
    answers = []
    for fold in range(FOLDS):
        fitted = _fit([s for s in samples if s.group % FOLDS != fold], decay, balance)
        answers += [(s, fitted.odds(s.evidence)) for s in samples if s.group % FOLDS == fold]
    return answers


def calibrated(answers: Sequence[tuple[Sample, Rows]]) -> tuple[dict[int, Calibration], dict[str, Any]]:
    """Calibrate one photo alone, and several together: there are too few sets of each count for a tail of 5 %."""
    numbers, checks = {}, {}
    for count in sorted({sample.photos for sample, _ in answers}):
        alike = [(s, odds) for s, odds in answers if (s.photos > 1) == (count > 1)]
        seen = [Seen(with_bright(s.chances.T, odds).T, s.truth) for s, odds in alike]
        sure = choose_sure(seen)
        scale, floor = conformal(rows := errors(seen, sure))
        numbers[count] = Calibration(sure=sure, error_scale=scale, error_floor=floor)
        checks[str(count)] = {"samples": len(seen), "share_error": round(float(rows[:, 0].mean()), 4)}
    return numbers, checks


def _numbers(fitted: _Fitted, model_sha256: str, calibration: dict[int, Calibration]) -> Numbers:
    return Numbers(
        model_sha256=model_sha256, names=list(NAMES), middle=fitted.middle.tolist(), spread=fitted.spread.tolist(),
        weights=fitted.weights.tolist(), offset=fitted.offset, calibration=calibration,
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
