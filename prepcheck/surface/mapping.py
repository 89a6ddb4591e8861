"""`Photo` to `SurfaceMap`."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import Photo
from prepcheck.settings import PhotoSettings, Settings
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
    rgb = at_working_size(photo.view(settings.photo.working_px).rgb, settings.photo)
    maps, step = model.run(rgb)
    burnt = _burnt(rgb, settings.score.burnt_level, maps.shape[1:])
    chances = smoothed(maps[:_GROUND], settings.photo.smoothing_px)
    states, bright = told_by(model.origin, chances, burnt)
    ground = np.ascontiguousarray(maps[_GROUND])
    reduction = (step * photo.width / rgb.shape[1], step * photo.height / rgb.shape[0])
    surface = SurfaceMap(states, bright, ground, burnt, reduction, model.origin, chances)
    return surface if not_surface is None else _without(surface, not_surface)


def at_working_size(rgb: NDArray[np.uint8], rule: PhotoSettings) -> NDArray[np.uint8]:
    """Enlarge a picture (h, w, 3) to the working size if it is smaller, but not too small to gain; others stay as they are."""
    long_side = max(rgb.shape[:2])
    if not rule.enlarge_from_px <= long_side < rule.working_px:
        return rgb
    scale = rule.working_px / long_side
    size = (round(rgb.shape[1] * scale), round(rgb.shape[0] * scale))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_LINEAR), np.uint8)


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
    side, likely = _greatest(sides(chances))
    kind, _ = _greatest(chances[_RESIDUE])
    states = np.where(side == _RESIDUE_SIDE, np.uint8(State.OXIDE) + kind, side)
    states[(side == _BEAD_SIDE) | (likely < sure) | burnt] = State.CANNOT_TELL
    return states, np.clip(chances[State.BRIGHT], 0.0, 1.0)


def _greatest(chances: NDArray[np.float32]) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Return which of (n, ...) is greatest, the first of equals, and how great; numpy's own search takes ten times as long."""
    which, greatest = np.zeros(chances.shape[1:], np.uint8), chances[0].copy()
    for number, chance in enumerate(chances[1:], start=1):
        which[chance > greatest] = number
        np.maximum(greatest, chance, out=greatest)
    return which, greatest


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
