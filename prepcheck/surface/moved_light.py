"""Two to six photos of one view under a moved torch, fused into one surface map in the frame of the first.

The start is the mean of each photo's log probabilities. A net learned for one model (`prepcheck.surface.moved_net`) corrects
its log odds of bright metal; what is not bright is shared out among the other states as the mean has it. With any other
model the mean stands alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import Photo
from prepcheck.photo.align import Alignment
from prepcheck.settings import Settings
from prepcheck.surface.mapping import told_by
from prepcheck.surface.moved_evidence import Planes, Views, blur, lay_over, movement
from prepcheck.surface.moved_net import Calibration, MovedNet, load_moved_net
from prepcheck.surface.surface_map import ModelOrigin, SurfaceMap
from prepcheck.terms import State

MOST_PHOTOS = 6
_SIDES = {"right": (1.0, 0.0), "bottom": (0.0, 1.0), "left": (-1.0, 0.0), "top": (0.0, -1.0)}
_LEAST_SLOPE = 0.5
"""Least change of log brightness over half the long side from which a side is guessed: on own sets the side is then right
to 60 degrees in some six of seven photos; on a quarter of the photos no side is guessed."""
_LEAST_UNSURE = 0.02
"""Share of the ground that cannot be told from which another photo is worth asking for."""


@dataclass(frozen=True, eq=False)
class Fused:
    """What several photos of one view say together.

    Parameters
    ----------
    surface : SurfaceMap
        In the frame of the first photo; its `model` carries the `sure` and the interval's numbers of fused maps.
    moved : float
        How much the light moved: see `prepcheck.surface.moved_evidence.movement`; 0 when it stayed.
    advice : str
        Where to put the torch next, or why this set shows too little; empty when there is nothing to say.
    enough : bool
        False when the light moved less than ``settings.moved_light.least_moved``.
    learned : str
        SHA-256 (hex) of the net's numbers that weighed the photos; empty where their mean stands alone.
    """

    surface: SurfaceMap
    moved: float
    advice: str
    enough: bool
    learned: str


def load_weighing(model_sha256: str, models: Path | None = None) -> MovedNet | None:
    """Read the net that ships for a model, or lies in a folder for it; None where none fits.

    Raises
    ------
    ModelFault
        A file is broken.
    """
    return _fitting(load_moved_net(models), model_sha256)


def _fitting(net: MovedNet | None, model_sha256: str) -> MovedNet | None:
    return net if net is not None and net.fits(model_sha256) else None


def fuse(
    photos: Sequence[Photo],
    maps: Sequence[SurfaceMap],
    alignments: Sequence[Alignment],
    settings: Settings,
    weighing: MovedNet | Literal["shipped"] | None = "shipped",
) -> Fused:
    """Fuse the surface maps of photos of one view under a moved light.

    A place burnt out, or not covered, in one photo counts from the others; one seen in none cannot be told.

    Parameters
    ----------
    photos, maps : sequence
        Two to six photos and their maps, by one model, with `chances`.
    alignments : sequence of Alignment
        Of every photo but the first.
    settings : Settings
        Says how much the light has to move.
    weighing : MovedNet, "shipped" or None
        The net; None, or one that does not fit the maps' model, leaves it at the mean.

    Raises
    ------
    ValueError
        There are fewer than two or more than six photos, not as many maps, or a map without `chances`.
    """
    if not 2 <= len(photos) <= MOST_PHOTOS or len(maps) != len(photos) or len(alignments) != len(photos) - 1:
        raise ValueError(f"{len(photos)} photos, {len(maps)} maps and {len(alignments)} alignments are no set")
    views = lay_over(photos, maps, [alignment.matrix for alignment in alignments])
    fitting = _fitting(load_moved_net() if weighing == "shipped" else weighing, maps[0].model.sha256)
    origin = maps[0].model if fitting is None else _calibrated(maps[0].model, fitting.calibration(len(photos)))
    chances = views.mean if fitting is None else with_bright(views.mean, fitting.bright_odds(views))
    states, bright = told_by(origin, chances, views.burnt)
    ground = np.asarray((views.ground * views.covers).sum(axis=0) / views.covers.sum(axis=0), np.float32)
    surface = SurfaceMap(states, bright, ground, views.burnt, maps[0].reduction, origin, chances)
    moved = movement(views)
    enough = moved >= settings.moved_light.least_moved
    learned = "" if fitting is None else fitting.sha256
    return Fused(surface, moved, advise(views, surface) if enough else TOO_LITTLE, enough, learned)


TOO_LITTLE = (
    "The light hardly moved between these photos. Keep the phone where it is, hold the torch low on another side of the "
    "spot, and take another photo; in a clip, carry the torch from one side to the other."
)


def with_bright(chances: Planes, odds: Planes) -> Planes:
    """Set the log odds of bright metal, the others sharing the rest as before."""
    bright = 1 / (1 + np.exp(-np.clip(odds, -15, 15)))
    rest = np.clip(1 - chances[State.BRIGHT], 1e-6, 1)
    shared = chances * ((1 - bright) / rest)
    shared[State.BRIGHT] = bright
    return np.asarray(shared, np.float32)


def advise(views: Views, surface: SurfaceMap) -> str:
    """Say from which side no photo had light, when a part of the ground cannot be told; empty otherwise.

    A side is named only where `light_sides` guesses where the light of some photo came from.
    """
    ground = surface.ground > 0.5
    unsure = ground & (surface.states == State.CANNOT_TELL)
    share = int(np.count_nonzero(unsure)) / max(1, int(np.count_nonzero(ground)))
    if share < _LEAST_UNSURE:
        return ""
    start = f"{share:.0%} of the ground still cannot be told, {_whereabouts(unsure, ground)}."
    lit = [side for side in light_sides(views) if side is not None]
    free = [name for name, side in _SIDES.items() if all(np.dot(side, other) < 0.5 for other in lit)]
    if not lit or not free:
        return f"{start} Hold the torch low from another side and take one more photo."
    farthest = min(free, key=lambda name: max(float(np.dot(_SIDES[name], other)) for other in lit))
    return f"{start} No photo seems to have light from the {farthest} of the picture: hold the torch there, low."


def light_sides(views: Views) -> list[tuple[float, float] | None]:
    """Guess for each photo the side its light comes from as a unit vector (x, y) in the picture; None where not plain.

    A near torch falls off across the picture: it is the slope of a plane fitted to the log brightness. Colours of the
    surface and other lamps mislead it, so it serves advice and nothing else.
    """
    smooth = [blur(one, 8 * views.unit) for one in views.light]
    return [_slope(one, there) for one, there in zip(smooth, views.seen, strict=True)]


def _slope(change: Planes, there: NDArray[np.bool_]) -> tuple[float, float] | None:
    rows, columns = np.nonzero(there[::4, ::4])
    if len(rows) < 100:
        return None
    values = np.clip(change[::4, ::4][rows, columns], -3, 3)
    half = max(change.shape) / 8
    fitted = np.linalg.lstsq(np.c_[columns / half, rows / half, np.ones(len(rows))], values, rcond=None)[0]
    size = float(np.hypot(fitted[0], fitted[1]))
    return None if size < _LEAST_SLOPE else (float(fitted[0]) / size, float(fitted[1]) / size)


def _whereabouts(unsure: NDArray[np.bool_], ground: NDArray[np.bool_]) -> str:
    """Say where in the ground a mask lies, in words of the picture."""
    y, x = (float(np.mean(part)) for part in np.nonzero(unsure))
    ys, xs = (part.astype(np.float64) for part in np.nonzero(ground))
    down, right = float((y - ys.mean()) / (np.ptp(ys) + 1)), float((x - xs.mean()) / (np.ptp(xs) + 1))
    if max(abs(down), abs(right)) < 0.12:
        return "all over it"
    if abs(down) > abs(right):
        return "most of it towards the bottom" if down > 0 else "most of it towards the top"
    return "most of it towards the right" if right > 0 else "most of it towards the left"


def _calibrated(origin: ModelOrigin, numbers: Calibration) -> ModelOrigin:
    """Give the numbers of fused maps; a shop's fit changes their `sure` as it does that of single photos."""
    fused = replace(origin, sure=numbers.sure, error_scale=numbers.error_scale, error_floor=numbers.error_floor)
    return fused if origin.shop_fit is None else fused.fitted(origin.shop_fit)
