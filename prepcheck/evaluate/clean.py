"""What a photo truly is: the standing rule applied to the truth itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from prepcheck.evaluate.truth import Truth
from prepcheck.photo import Photo, Plane
from prepcheck.score import score_spot
from prepcheck.settings import Settings
from prepcheck.spot import NoSpot, Spot, find_spots
from prepcheck.surface import ModelOrigin, SurfaceMap
from prepcheck.terms import Standing, State

_LONG_SIDE = 640
_EXACT = ModelOrigin("truth", "", 0.0, 0.0, 0.0)


CLEAN, DIRTY, NO_SPOT = "clean", "dirty", "without a spot"


def what_it_is(truth: Truth, settings: Settings) -> str:
    """Return `CLEAN` when every ground spot of the truth is `bright` by the standing rule, all shares being exact.

    Spots are found in the true ground area as they are in a predicted one, but nothing beyond it counts: no bridged gap,
    no hole, and nothing that is not labelled. Otherwise `DIRTY`, or `NO_SPOT` where there is none to be found.
    """
    height, width = truth.states.shape
    plane = None if truth.mm_per_px is None else Plane(np.diag([truth.mm_per_px] * 2 + [1.0]), 0.0, "stated")
    photo = Photo(truth.path.name, "", 0, "", width, height, np.zeros((1, 1, 3), np.uint8), plane=plane)
    surface = _exact(truth)
    found = find_spots(surface, settings)
    if isinstance(found, NoSpot):
        return NO_SPOT
    return CLEAN if all(_bright(spot, surface, photo, settings) for spot in found) else DIRTY


def _exact(truth: Truth) -> SurfaceMap:
    """Make the map of a model that is never wrong, at the size of the tool's own maps."""
    step = max(1, round(max(truth.states.shape) / _LONG_SIDE))
    states, ground = truth.states[::step, ::step], truth.ground[::step, ::step]
    bright = (states == State.BRIGHT).astype(np.float32)
    nothing = np.zeros(states.shape, bool)
    return SurfaceMap(states, bright, ground.astype(np.float32), nothing, (float(step), float(step)), _EXACT)


def _bright(spot: Spot, surface: SurfaceMap, photo: Photo, settings: Settings) -> bool:
    readable = spot.mask & (surface.ground > 0) & ~np.isin(surface.states, (State.BACKGROUND, State.CANNOT_TELL))
    return score_spot(replace(spot, mask=readable), surface, photo, settings.score).standing is Standing.BRIGHT
