"""A shop's own fit of the last calibration, and the proof of it: every photo judged by a fit that has not seen it.

Fitted are slope and shift of the log odds of bright metal (`prepcheck.surface.shop_fit`) at labelled places, by the most
likely values under a prior that pulls to no change: normal around slope 1 and shift 0, with spreads from the settings.
Places of one photo resemble each other, so that a photo counts for a few independent places at most.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from prepcheck.evaluate.bootstrap import Counts, Figure, by_group, figures
from prepcheck.evaluate.measures import Codes, Numbers, confusion, ratio
from prepcheck.evaluate.sparse import POINT_MEASURES, PointTally
from prepcheck.settings import ShopFitSettings
from prepcheck.surface import ModelOrigin, ShopFit
from prepcheck.surface.mapping import sides, told
from prepcheck.surface.shop_fit import LEAST_SLOPE, MOST_SHIFT, MOST_SLOPE, log_odds
from prepcheck.terms import State

Chances = NDArray[np.float32]
SHOWN = ("balanced accuracy of points", "bright called bright", "wrongly bright", "residue found", "coverage")
HALF_WIDTH = "half width on bright metal"
"""Of the interval on a spot of nothing but what people called bright metal: wider than the limit, no spot can be `bright`."""
BY_CHANCE = 0.5
"""Balanced accuracy of labels that have nothing to do with the photos."""
_DIGITS = 4
"""So that a fit is the same number on every computer."""
_LEAST = 1e-6


@dataclass(frozen=True, eq=False)
class Labelled:
    """The labelled places of one photo, and what the tool says of them without a fit.

    Parameters
    ----------
    name, sha256 : str
        The photo.
    kind : str
        Whether its places were counted or brushed.
    labels_sha256 : str
        SHA-256 (hex) of places and labels.
    group : str
        Photos that show the same are one group: they are left out together.
    chances : ndarray, shape (7, n), float32
        As the map has them before it tells states.
    labels : ndarray, shape (n,), uint8
        Codes 1 to 5.
    """

    name: str
    sha256: str
    kind: Literal["counted", "brushed"]
    labels_sha256: str
    group: str
    chances: Chances = field(repr=False)
    labels: Codes = field(repr=False)

    @property
    def is_bright(self) -> NDArray[np.bool_]:
        """Where bright metal lies, shape (n,)."""
        return np.asarray(self.labels == State.BRIGHT)


@dataclass(frozen=True)
class Row:
    """A measure on left-out photos, with 95 % intervals over photos.

    `after` tells as many places as `before`, those of the highest chance; `as_told` tells what the fit's own `sure` lets be
    told.
    """

    name: str
    before: Figure
    after: Figure
    as_told: Figure


@dataclass(frozen=True)
class Proof:
    """What leaving each photo out in turn shows; `rows` are empty and `gain` is None with fewer than two groups.

    `gain` is the change of the log loss of bright metal against everything else, photo-wise weighed: below 0 is better.
    `leans` are those of the groups when left out, see `leans_of`.
    """

    photos: int
    groups: int
    bright: int
    residue: int
    rows: tuple[Row, ...] = ()
    gain: Figure | None = None
    leans: tuple[float, ...] = ()

    def row(self, name: str) -> Row:
        """Return a measure by name."""
        return next(one for one in self.rows if one.name == name)


@dataclass(frozen=True, eq=False)
class LeftOut(Counts):
    """Counts of one left-out photo.

    Parameters
    ----------
    before, after, as_told : ndarray, shape (6, 7)
        Places by label and told state; last column: not told.
    loss_before, loss_after, weight : float
        Weighed sums of the log loss, and of the weights.
    doubt_before, doubt_after, bright : float
        Sums over bright metal of the doubt on which intervals rest (`SurfaceMap.doubt`), and how many such places.
    """

    before: Numbers
    after: Numbers
    as_told: Numbers
    loss_before: float
    loss_after: float
    weight: float
    doubt_before: float
    doubt_after: float
    bright: float


def fit(photos: Sequence[Labelled], settings: ShopFitSettings) -> ShopFit:
    """Return the most likely fit; without photos it changes nothing."""
    from scipy.optimize import minimize

    if not photos:
        return ShopFit(1.0, 0.0)
    odds = np.concatenate([log_odds(one.chances[State.BRIGHT]) for one in photos]).astype(np.float64)
    bright = np.concatenate([one.is_bright for one in photos])
    weights = np.concatenate(
        [np.full(len(one.labels), w) for one, w in zip(photos, _weights(photos, settings), strict=True)]
    )
    spread = np.array([settings.slope_spread, settings.shift_spread])

    def loss(x: Numbers) -> tuple[float, Numbers]:
        z = x[0] * odds + x[1]
        off, prior = weights * (1 / (1 + np.exp(-z)) - bright), (x - (1, 0)) / spread
        value = float((weights * (np.logaddexp(0, z) - bright * z)).sum() + (prior**2).sum() / 2)
        return value, np.array([(off * odds).sum(), off.sum()]) + prior / spread

    bounds = [(LEAST_SLOPE, MOST_SLOPE), (-MOST_SHIFT, MOST_SHIFT)]
    close = {"ftol": 1e-14, "gtol": 1e-9, "xtol": 1e-10}
    found = minimize(loss, (1.0, 0.0), jac=True, method="TNC", bounds=bounds, options=close)
    slope, shift = np.round(found.x, _DIGITS).tolist()
    return ShopFit(slope, shift)


def prove(photos: Sequence[Labelled], own: ModelOrigin, settings: ShopFitSettings) -> Proof:
    """Fit without each group of photos in turn, and compare on that group.

    Parameters
    ----------
    photos : sequence of Labelled
        All of them.
    own : ModelOrigin
        The model without a fit.
    settings : ShopFitSettings
        Spreads and weights.
    """
    groups = list(dict.fromkeys(one.group for one in photos))
    bright = sum(int(np.count_nonzero(one.is_bright)) for one in photos)
    proof = Proof(len(photos), len(groups), bright, sum(len(one.labels) for one in photos) - bright)
    if len(groups) < 2:
        return proof
    fits = {group: fit([one for one in photos if one.group != group], settings) for group in groups}
    counts = by_group(zip((one.group for one in photos), _compared(photos, fits, own, settings), strict=True))
    found = figures(counts, _measures(own))
    rows = tuple(Row(name, *(found[f"{name}, {when}"] for when in _WHEN)) for name in (*SHOWN, "log loss", HALF_WIDTH))
    leans = leans_of(photos, fits)
    return replace(proof, rows=rows, gain=found["gain"], leans=tuple(leans.values()))


def objections(proof: Proof, settings: ShopFitSettings) -> tuple[str, ...]:
    """Say why a fit is refused, each reason a sentence without its full stop; empty when nothing speaks against it."""
    return (*_too_few(proof, settings), *(_no_help(proof) if proof.gain is not None else ()))


def _too_few(proof: Proof, settings: ShopFitSettings) -> list[str]:
    found = []
    if proof.groups < settings.least_photos:
        found.append(f"{proof.groups} photos that do not show the same, at least {settings.least_photos} are needed")
    for points, what in ((proof.bright, "bright metal"), (proof.residue, "residue")):
        if points < settings.least_each:
            found.append(f"{points} labelled places of {what}, at least {settings.least_each} are needed")
    return found


def _no_help(proof: Proof) -> list[str]:
    gain, dirty, right = proof.gain, proof.row("wrongly bright"), proof.row("balanced accuracy of points").after
    found = []
    if gain is None or not gain.high < 0:
        found.append("that it tells photos better that it has not seen is not shown: the log loss may as well grow")
    before, after = dirty.before.value, max(dirty.after.value, dirty.as_told.value)
    if math.isnan(before) or math.isnan(after):
        found.append("no residue is told, so that nothing shows whether wrongly bright rises")
    elif after > before:
        found.append(f"on photos that it has not seen, wrongly bright rises from {before:.1%} to {after:.1%}")
    if not right.low > BY_CHANCE:
        found.append("labels and tool agree no better than by chance: the labels may be of other places or contradict")
    return found


def _weights(photos: Sequence[Labelled], settings: ShopFitSettings) -> list[float]:
    """Return the weight of each place of each photo: a group weighs as much as a few independent places at most."""
    points: dict[str, int] = {}
    for one in photos:
        points[one.group] = points.get(one.group, 0) + len(one.labels)
    return [min(1.0, settings.independent_points / points[one.group]) for one in photos]


def _compared(
    photos: Sequence[Labelled], fits: dict[str, ShopFit], own: ModelOrigin, settings: ShopFitSettings
) -> list[LeftOut]:
    before = [_told(one.chances, own.sure) for one in photos]
    fitted = [fits[one.group].applied(one.chances) for one in photos]
    least = least_chance(fitted, sum(int(np.count_nonzero(codes != State.CANNOT_TELL)) for codes in before))
    after = [_told(chances, least) for chances in fitted]
    as_told = [_told(chances, fits[one.group].sure(own.sure)) for one, chances in zip(photos, fitted, strict=True)]
    weights = _weights(photos, settings)
    return [
        LeftOut(
            before=confusion(one.labels, before[at]),
            after=confusion(one.labels, after[at]),
            as_told=confusion(one.labels, as_told[at]),
            loss_before=weights[at] * float(losses(one.chances, one.is_bright).sum()),
            loss_after=weights[at] * float(losses(fitted[at], one.is_bright).sum()),
            weight=weights[at] * len(one.labels),
            doubt_before=float(_doubt(one.chances)[one.is_bright].sum()),
            doubt_after=float(np.maximum(_doubt(one.chances), _doubt(fitted[at]))[one.is_bright].sum()),
            bright=float(np.count_nonzero(one.is_bright)),
        )
        for at, one in enumerate(photos)
    ]


def leans_of(photos: Sequence[Labelled], fits: Mapping[str, ShopFit]) -> dict[str, float]:
    """Return by how much more bright metal than its fit says people find on each group of photos; share of the places."""
    found: dict[str, list[Numbers]] = {}
    for one in photos:
        said = fits[one.group].applied(one.chances)[State.BRIGHT].astype(np.float64)
        found.setdefault(one.group, []).append(one.is_bright - said)
    return {group: float(np.concatenate(values).mean()) for group, values in found.items()}


def least_chance(chances: Sequence[Chances], told_places: int) -> float:
    """Return the least chance with which that many places of all photos are told, those of the highest chance."""
    surest = np.concatenate([_highest(one) for one in chances])
    return 2.0 if told_places == 0 else float(np.sort(surest)[::-1][told_places - 1])


def losses(chances: Chances, is_bright: NDArray[np.bool_]) -> Numbers:
    """Return the log loss of bright metal against everything else at each place, shape (n,)."""
    p = np.clip(chances[State.BRIGHT].astype(np.float64), _LEAST, 1 - _LEAST)
    return np.asarray(-np.log(np.where(is_bright, p, 1 - p)))


def _highest(chances: Chances) -> Chances:
    """Return the highest chance of a side that can be told, 0 where a weld bead is likelier than each."""
    likely = sides(chances)
    return np.where(likely.argmax(axis=0) < len(likely) - 1, likely.max(axis=0), np.float32(0))


def _doubt(chances: Chances) -> Numbers:
    bright = chances[State.BRIGHT].astype(np.float64)
    return np.asarray(np.minimum(bright, 1 - bright))


def _told(chances: Chances, sure: float) -> Codes:
    return told(chances, np.zeros(chances.shape[1:], bool), sure)[0]


_WHEN = ("before", "after", "as_told")


def _point_measure(name: str, when: str) -> Callable[[Any], Any]:
    measure = POINT_MEASURES[name]
    return lambda counts: measure(PointTally(getattr(counts, when)))


def _mean(what: str, of: str, when: str) -> Callable[[Any], Any]:
    part = f"{what}_{'before' if when == 'before' else 'after'}"
    return lambda counts: ratio(getattr(counts, part), getattr(counts, of))


def _half_width(own: ModelOrigin, when: str) -> Callable[[Any], Any]:
    doubt = _mean("doubt", "bright", when)
    return lambda counts: own.error_scale * (doubt(counts) + own.error_floor)


def _measures(own: ModelOrigin) -> dict[str, Callable[[Any], Any]]:
    return {
        **{f"{name}, {when}": _point_measure(name, when) for name in SHOWN for when in _WHEN},
        **{f"log loss, {when}": _mean("loss", "weight", when) for when in _WHEN},
        **{f"{HALF_WIDTH}, {when}": _half_width(own, when) for when in _WHEN},
        "gain": lambda counts: ratio(counts.loss_after - counts.loss_before, counts.weight),
    }
