"""Small surface maps with known truth, made by hand for the tests."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import Photo, Plane
from prepcheck.surface import ModelOrigin, SurfaceMap
from prepcheck.terms import State

EXACT = ModelOrigin("exact", "0" * 64, sure=0.5, error_scale=1.0, error_floor=0.0)


def surface_of(
    states: NDArray[np.uint8],
    *,
    probability: float = 1.0,
    reduction: tuple[float, float] = (1.0, 1.0),
    model: ModelOrigin = EXACT,
) -> SurfaceMap:
    """Make the surface map that shows `states`, each told with `probability`; ground is all but background and coating."""
    bright = np.where(states == State.BRIGHT, probability, 1 - probability).astype(np.float32)
    ground = (~np.isin(states, (State.BACKGROUND, State.COATING))).astype(np.float32)
    return SurfaceMap(states, bright, ground, np.zeros(states.shape, bool), reduction, model)


def plate(height: int = 240, width: int = 320, fill: State = State.COATING) -> NDArray[np.uint8]:
    """Make a map that shows `fill` everywhere."""
    return np.full((height, width), fill, np.uint8)


def photo_of(surface: SurfaceMap, *, plane: Plane | None = None) -> Photo:
    """Make a photo of the size of `surface` at full size."""
    height, width = surface.states.shape
    size = (round(width * surface.reduction[0]), round(height * surface.reduction[1]))
    return Photo("plate.jpg", "0" * 64, 1, "JPEG", *size, np.full((height, width, 3), 128, np.uint8), plane=plane)


def flat(mm_per_px: float) -> Plane:
    """Make a plane seen square, at one scale everywhere."""
    return Plane(np.diag([mm_per_px, mm_per_px, 1.0]), 0.0, "stated")


def tilted(mm_per_px: float, degrees: float, focal_px: float = 1000.0) -> Plane:
    """Make a plane tilted about the y axis through the image's origin, with a pinhole camera of `focal_px`."""
    angle = np.deg2rad(degrees)
    distance = mm_per_px * focal_px
    to_px = np.array([[focal_px * np.cos(angle), 0, 0], [0, focal_px, 0], [np.sin(angle), 0, distance]])
    return Plane(np.linalg.inv(to_px), 0.0, "card")
