"""Measures moved-light sets: one photo against two and more of the same view, group by group.

A set is the photos of one ``group`` of a labelled folder, in the order of their names; ``to_first`` in a photo's meta is
the true homography to the first (none: the photos lie exactly on each other). Fused maps are compared with the truth of
the first photo, single ones each with its own.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, groupby
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.evaluate.bootstrap import Figure, Measure, figures, total
from prepcheck.evaluate.measures import MEASURES, Tally, balanced_accuracy, risk_coverage, tally
from prepcheck.evaluate.truth import Truth, read_truths
from prepcheck.photo import Photo, read
from prepcheck.photo.align import Alignment
from prepcheck.score import bright_share
from prepcheck.settings import Settings
from prepcheck.surface import Model, SurfaceMap, map_surface
from prepcheck.surface.moved_light import Fused, fuse
from prepcheck.surface.moved_net import MovedNet

Matrix = NDArray[np.float64]
SINGLE, FIRST, FIRST_OF_THREE = "each photo alone", "the first photo alone", "the first photo alone, of three"


Align = Callable[[Photo, Photo], Matrix | None]
"""Finds the homography from the second photo to the first; None where it cannot."""


@dataclass(frozen=True, eq=False)
class View:
    """One photo of a set with its map, its truth, and the true homography to the first."""

    photo: Photo = field(repr=False)
    surface: SurfaceMap = field(repr=False)
    truth: Truth = field(repr=False)
    to_first: Matrix


def read_sets(folder: Path, model: Model, settings: Settings) -> Iterator[tuple[str, list[View]]]:
    """Read and map the photos of every group with at least two, one group after the other.

    Raises
    ------
    Unreadable
        The folder is not as in the design, section 5.
    """
    for name, photos in groupby(read_truths(folder), key=lambda truth: truth.group):
        group = list(photos)
        if len(group) >= 2:
            yield name, [_view(one, folder, model, settings) for one in group]


def subsets(views: Sequence[View], most: int = 3) -> list[tuple[str, list[View]]]:
    """Return every set of two, the whole of three, and so on, that holds the first photo, with a name by count."""
    words = {2: "two photos", 3: "three photos"}
    counts = range(2, min(most, len(views)) + 1)
    picks = [(k, rest) for k in counts for rest in combinations(views[1:], k - 1)]
    return [(words.get(k, f"{k} photos"), [views[0], *rest]) for k, rest in picks]


def fused(
    views: Sequence[View], settings: Settings, weighing: MovedNet | None, align: Align | None = None
) -> Fused | None:
    """Fuse a set's maps by its true homographies, or by `align`; None where a photo does not align."""
    found = [one.to_first if align is None else align(views[0].photo, one.photo) for one in views[1:]]
    if any(matrix is None for matrix in found):
        return None
    alignments = [Alignment(matrix) for matrix in found if matrix is not None]
    return fuse([one.photo for one in views], [one.surface for one in views], alignments, settings, weighing)


def compare(surface: SurfaceMap, first: View, settings: Settings) -> Tally:
    """Compare a map in the frame of `first` with its truth; burnt-out places of that map are left out."""
    truth = first.truth
    size = truth.states.shape[::-1]
    states, burnt = (
        cv2.resize(plane.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST_EXACT)
        for plane in (surface.states, surface.burnt)
    )
    residue = cv2.resize(surface.residue, size, interpolation=cv2.INTER_LINEAR)
    spots = cv2.resize(surface.ground, size, interpolation=cv2.INTER_LINEAR) > settings.spot.ground_probability
    share = bright_share(surface, surface.ground > settings.spot.ground_probability)
    return tally(
        np.asarray(states, np.uint8), np.asarray(residue, np.float32), np.asarray(spots), truth.states, truth.ground,
        np.asarray(burnt > 0), mm_per_px=truth.mm_per_px, interval=(share.low, share.high),
    )  # fmt: skip


def judge_sets(
    folder: Path, model: Model, settings: Settings, ways: Mapping[str, MovedNet | None], align: Align | None = None
) -> dict[str, list[Tally]]:
    """Tally every group by every way: one photo, and two or three by each of `ways`; a list of groups for each.

    Where some groups hold three photos, their first ones are tallied apart too: three compare with those.

    Parameters
    ----------
    folder : Path
        Labelled folder with groups.
    model, settings
        Of the maps.
    ways : dict of str to MovedNet or None
        The nets to compare; None is the mean.
    align : callable, optional
        Finds the homographies; the true ones otherwise. Sets that do not align are left out of the fused ways.
    """
    tallies: dict[str, list[Tally]] = {}
    for _group, views in read_sets(folder, model, settings):
        alone = [compare(one.surface, one, settings) for one in views]
        for way in (FIRST, FIRST_OF_THREE) if len(views) >= 3 else (FIRST,):
            tallies.setdefault(way, []).append(alone[0])
        tallies.setdefault(SINGLE, []).append(total(alone))
        for way, weighing in ways.items():
            for name, summed in _by_count(views, settings, weighing, align).items():
                tallies.setdefault(f"{name}, {way}" if way else name, []).append(summed)
    return tallies


def _by_count(
    views: list[View], settings: Settings, weighing: MovedNet | None, align: Align | None
) -> dict[str, Tally]:
    counts: dict[str, Tally] = {}
    for name, some in subsets(views):
        if (one := fused(some, settings, weighing, align)) is not None:
            told = compare(one.surface, views[0], settings)
            counts[name] = counts[name] + told if name in counts else told
    return counts


def error_at(coverage: float) -> Measure:
    """Return the measure 1 - balanced accuracy when the surest `coverage` of the bright and oxide pixels are told.

    Told bright where residue is less likely than not, as in `prepcheck.evaluate.measures.risk_coverage`.
    """

    def measure(t: Tally) -> Any:
        return _each(t, lambda share, risk: float(np.interp(coverage, share, risk)))

    return measure


def untold_at(error: float) -> Measure:
    """Return the measure: least share of the bright and oxide pixels left untold at which the error is at most `error`."""

    def least(share: NDArray[np.float64], risk: NDArray[np.float64]) -> float:
        good = share[risk <= error]
        return float(1 - good.max()) if good.size else 1.0

    return lambda t: _each(t, least)


def table(tallies: Mapping[str, Sequence[Tally]]) -> dict[str, dict[str, Figure]]:
    """Return all measures of each way with group-wise intervals; error and untold share at the first photo's own."""
    share, risk = risk_coverage(total(tallies[FIRST]))
    more = {
        "error, all told": error_at(1.0),
        "error at 0.95 told": error_at(0.95),
        "error at 0.9 told": error_at(0.9),
        f"untold at error {float(np.interp(0.95, share, risk)):.3f}": untold_at(float(np.interp(0.95, share, risk))),
        "error as told": lambda t: 1 - balanced_accuracy(t),
    }
    names = ("coverage", "bright recall", "oxide recall", "patch recall", "false patches a photo", "false area")
    rest = ("bright-share error", "interval holds the truth", "interval width", "calibration error")
    measures = {**more, **{name: MEASURES[name] for name in (*names, *rest)}}
    return {way: figures(groups, measures) for way, groups in tallies.items()}


def _each(t: Tally, measure: Callable[[NDArray[np.float64], NDArray[np.float64]], float]) -> Any:
    """Apply a measure of one curve to one tally, or to each of many drawn ones."""
    if t.chance.ndim == 2:
        return _of_curve(t.chance, measure)
    return np.array([_of_curve(one, measure) for one in t.chance])


def _of_curve(chance: NDArray[np.float64], measure: Callable[..., float]) -> float:
    share, risk = risk_coverage(Tally(chance=chance))
    known = ~np.isnan(risk)
    return measure(share[known], risk[known]) if known.any() else float("nan")


def _view(truth: Truth, folder: Path, model: Model, settings: Settings) -> View:
    photo = read(truth.path, settings)
    meta = folder / f"meta/{truth.path.stem}.json"
    notes = json.loads(meta.read_text(encoding="utf-8")) if meta.is_file() else {}
    return View(photo, map_surface(photo, model, settings), truth, np.asarray(notes.get("to_first", np.eye(3)), float))
