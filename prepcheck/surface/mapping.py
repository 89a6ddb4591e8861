"""`Photo` to `SurfaceMap`."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import Photo
from prepcheck.settings import Settings
from prepcheck.surface.model import Model
from prepcheck.surface.surface_map import ModelOrigin, SurfaceMap
from prepcheck.terms import State

_BEAD, _GROUND = 6, 7
_RESIDUE = slice(State.OXIDE, State.FOREIGN + 1)
_RESIDUE_SIDE, _BEAD_SIDE = 2, 3
"""Places in the list of sides: background, bright metal, residue, weld bead or heat tint."""


def map_surface(
    photo: Photo, model: Model, settings: Settings, not_surface: NDArray[np.float64] | None = None
) -> SurfaceMap:
    """Ask the model what each pixel of `photo` shows.

    A pixel is `cannot tell` when it is burnt out, shows a weld bead or heat tint, or when neither bright metal nor residue
    nor background is as probable as the model's `sure`.

    Parameters
    ----------
    photo : Photo
        The photo.
    model : Model
        A loaded model.
    settings : Settings
        Gives the working size and the burnt-out level.
    not_surface : ndarray, shape (n, 2), float64, optional
        Outline, in full-size pixels, of something laid on the part (the scale card): mapped as background.
    """
    rgb = at_long_side(photo.rgb, settings.photo.working_px)
    maps, step = model.run(rgb)
    burnt = _burnt(rgb, settings.score.burnt_level, maps.shape[1:])
    chances = smoothed(maps[:_GROUND], settings.photo.smoothing_px)
    states, bright = told_by(model.origin, chances, burnt)
    ground = np.ascontiguousarray(maps[_GROUND])
    reduction = (step * photo.width / rgb.shape[1], step * photo.height / rgb.shape[0])
    surface = SurfaceMap(states, bright, ground, burnt, reduction, model.origin, chances)
    return surface if not_surface is None else _without(surface, not_surface)


def at_long_side(rgb: NDArray[np.uint8], long_side: int) -> NDArray[np.uint8]:
    """Reduce a picture (h, w, 3) by area averaging to at most `long_side`; smaller ones stay as they are."""
    scale = long_side / max(rgb.shape[:2])
    if scale >= 1:
        return rgb
    size = (max(1, round(rgb.shape[1] * scale)), max(1, round(rgb.shape[0] * scale)))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)


def smoothed(chances: NDArray[np.float32], spread: float) -> NDArray[np.float32]:
    """Average chances (n, h, w) with their surroundings: a speck of a pixel or two is no patch."""
    if spread == 0:
        return np.ascontiguousarray(chances)
    return np.stack([np.asarray(cv2.GaussianBlur(chance, (0, 0), spread), np.float32) for chance in chances])


def _burnt(rgb: NDArray[np.uint8], level: int, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Mark the map pixels, `shape` (h, w), in which any pixel of `rgb` is burnt out in all channels."""
    burnt = cv2.inRange(rgb, np.full(3, level), np.full(3, 255))
    rows, columns = (-(-side // cells) for side, cells in zip(burnt.shape, shape, strict=True))
    whole = np.zeros((shape[0] * rows, shape[1] * columns), np.uint8)
    whole[: burnt.shape[0], : burnt.shape[1]] = burnt
    return np.asarray(cv2.resize(whole, shape[::-1], interpolation=cv2.INTER_AREA) > 0)


def told(
    chances: NDArray[np.float32], burnt: NDArray[np.bool_], sure: float
) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Return the state of each pixel, `cannot tell` where that is not sure, and the probability of bright metal.

    Bright metal stands against all residue together, so that a place that is surely residue is told though its kind is
    not; of residue the most probable kind is told.

    Parameters
    ----------
    chances : ndarray, shape (7, ...), float32
        Probabilities of states 0 to 5 and of weld bead or heat tint.
    burnt : ndarray, shape (...), bool
        Where no surface was recorded.
    sure : float
        Least probability with which bright metal, residue or background is told.
    """
    likely = sides(chances)
    kind = State.OXIDE + chances[_RESIDUE].argmax(axis=0)
    side = likely.argmax(axis=0)
    states = np.where(side == _RESIDUE_SIDE, kind, side).astype(np.uint8)
    states[(side == _BEAD_SIDE) | (likely.max(axis=0) < sure) | burnt] = State.CANNOT_TELL
    return states, np.clip(chances[State.BRIGHT], 0.0, 1.0)


def told_by(
    origin: ModelOrigin, chances: NDArray[np.float32], burnt: NDArray[np.bool_]
) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Return what `told` does for a model's chances (7, ...), with the shop's own fit where `origin` has one."""
    fit = origin.shop_fit
    return told(chances if fit is None else fit.applied(chances), burnt, origin.sure)


def sides(chances: NDArray[np.float32]) -> NDArray[np.float32]:
    """Chances of background, bright metal, all residue together, and weld bead or heat tint, from (7, ...) to (4, ...)."""
    residue = chances[_RESIDUE].sum(axis=0)
    return np.stack([chances[State.BACKGROUND], chances[State.BRIGHT], residue, chances[_BEAD]])


def _without(surface: SurfaceMap, outline: NDArray[np.float64]) -> SurfaceMap:
    mask = np.zeros(surface.states.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(surface.from_full(outline)).astype(np.int32)], 1)
    inside = mask.astype(bool)
    nothing = np.eye(1, _GROUND, State.BACKGROUND, dtype=np.float32).reshape(_GROUND, 1, 1)
    return replace(
        surface,
        states=np.where(inside, np.uint8(State.BACKGROUND), surface.states),
        bright=np.where(inside, np.float32(0), surface.bright),
        ground=np.where(inside, np.float32(0), surface.ground),
        chances=None if surface.chances is None else np.where(inside, nothing, surface.chances),
    )
