"""Places drawn from moved-light sets with truth, and how answers on them are rated and calibrated.

Sets are an evaluation folder whose meta files hold ``group`` and ``to_first`` (`prepcheck.train sets`). What is fitted on
places is judged on sets left out: see `prepcheck.train.moved_calibrate`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.evaluate.sets import View, read_sets
from prepcheck.settings import Settings
from prepcheck.surface import Model
from prepcheck.surface.moved_evidence import Planes, Views, lay_over, movement
from prepcheck.surface.moved_light import with_bright
from prepcheck.surface.moved_net import Calibration
from prepcheck.terms import State
from prepcheck.train.calibrate import Seen, choose_sure, conformal, errors
from prepcheck.train.moved_feed import SLIP_PX

Rows = NDArray[np.float32]
PLACES = 1200
"""Places drawn from the readable ground of a set."""

TOLD = 0.95
"""Share of bright and oxide places, surest first, over which errors are compared."""

_KINDS = (State.BRIGHT, State.OXIDE)


@dataclass(frozen=True, eq=False)
class Sample:
    """The readable ground of some photos of a set, n places.

    Parameters
    ----------
    group, photos : int
        Number of the set; how many of its photos.
    odds : ndarray, shape (n, 2), float32
        Log odds of bright metal by the mean and by the net.
    chances : ndarray, shape (n, 7), float32
        Probabilities of the mean.
    truth : ndarray, shape (n,), uint8
        True states.
    moved : float
        As in `prepcheck.surface.moved_evidence.movement`.
    case : str
        What the set's meta says of its light; empty when it says nothing.
    """

    group: int
    photos: int
    odds: Rows = field(repr=False)
    chances: Rows = field(repr=False)
    truth: NDArray[np.uint8] = field(repr=False)
    moved: float
    case: str

    @property
    def bright(self) -> Rows:
        """Whether each place is bright metal, 0 or 1."""
        return np.asarray(self.truth == State.BRIGHT, np.float32)


def gather(
    folders: Sequence[Path], model: Model, settings: Settings, measure: Callable[[Views], Planes], seed: int = 0
) -> list[Sample]:
    """Measure every set of some folders: the first photo alone, with each other one, and with two others.

    `measure` gives the log odds of bright metal by the mean and by the net, shape (2, h, w).
    """
    rng = np.random.default_rng(seed)
    samples = []
    sets = (one for folder in folders for one in read_sets(folder, model, settings))
    for group, (_name, views) in enumerate(sets):
        for some in _picks(views):
            sample = _sample(group, some, rng, measure)
            if sample is not None:
                samples.append(sample)
    return samples


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
