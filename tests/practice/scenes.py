"""Painted plates with a mark and an answer of which every pixel is known; no photo is decoded."""

from __future__ import annotations

import numpy as np

from prepcheck.inspection import Inspection, inspect
from prepcheck.photo import Photo
from prepcheck.practice import Answer, Mark
from prepcheck.settings import Settings
from prepcheck.surface import ModelOrigin, SurfaceMap
from prepcheck.terms import State
from tests import painted

SHAPE = (60, 80)
SETTINGS = Settings()


def surface(states: np.ndarray, burnt: np.ndarray | None = None) -> SurfaceMap:
    """Return a map at the photo's own size."""
    nothing = np.zeros(states.shape, np.float32)
    burnt = np.zeros(states.shape, bool) if burnt is None else burnt
    return SurfaceMap(states, nothing, nothing, burnt, (1.0, 1.0), ModelOrigin("none", "0" * 64, 0.5, 0, 0))


def photo(shape: tuple[int, int] = SHAPE, mm_per_px: float | None = None) -> Photo:
    """Return a grey photo, seen square on where it has a scale."""
    from prepcheck.photo import Plane

    plane = None if mm_per_px is None else Plane(np.diag([mm_per_px, mm_per_px, 1.0]), 0.01, "stated")
    rgb = np.full((*shape, 3), 128, np.uint8)
    return Photo("plate.jpg", "2" * 64, 1, "JPEG", shape[1], shape[0], rgb, plane=plane)


def area(top: int, left: int, height: int, width: int) -> np.ndarray:
    """Return a mask of the shape with one rectangle."""
    mask = np.zeros(SHAPE, bool)
    mask[top : top + height, left : left + width] = True
    return mask


def answer(residue: np.ndarray, unsure: np.ndarray | None = None, ground: np.ndarray | None = None) -> Answer:
    """Return an answer of the tool; all of the photo is ground unless told otherwise."""
    nothing = np.zeros(SHAPE, bool)
    return Answer("tool", residue, nothing if unsure is None else unsure, ~nothing if ground is None else ground)


def mark(residue: np.ndarray, unsure: np.ndarray | None = None) -> Mark:
    """Return a mark."""
    told = np.where(residue, 255, 0)
    return (told if unsure is None else np.where(unsure, 128, told)).astype(np.uint8)


def inspected(*patches: tuple[State, int, int, int]) -> Inspection:
    """Return the inspection of a painted plate of 640 x 480 pixels."""
    return inspect(painted.photo(painted.plate(*patches)), painted.model(), SETTINGS)
