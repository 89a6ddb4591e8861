"""Hatches: one pattern for each state, told apart by direction and density, in black and white too."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from prepcheck.terms import State

Colour = tuple[int, int, int]
PAPER: Colour = (255, 255, 255)


@dataclass(frozen=True)
class Hatch:
    """A pattern: `lines` are directions (dx, dy) of the phase, none for dots; `period` in units of the picture."""

    ink: Colour
    lines: tuple[tuple[int, int], ...]
    period: float


HATCHES: dict[State, Hatch] = {
    State.OXIDE: Hatch((190, 52, 10), ((1, 1),), 7.0),
    State.PIT: Hatch((20, 20, 20), ((1, 1), (1, -1)), 9.0),
    State.COATING: Hatch((20, 62, 140), ((0, 1),), 6.0),
    State.FOREIGN: Hatch((104, 38, 128), ((1, 0),), 6.0),
    State.CANNOT_TELL: Hatch((20, 20, 20), (), 6.0),
}
"""Slanted lines, crossed lines, level lines, upright lines, dots."""


def hatch(picture: NDArray[np.uint8], mask: NDArray[np.bool_], state: State, unit: float) -> None:
    """Draw the hatch of `state` where `mask`, shape (h, w), is set in `picture`, shape (h, w, 3), uint8, in place.

    Between the lines the photo stays visible; each line has a white flank so that it shows on dark and on light.
    """
    ink, paper = _layers(*mask.shape, state, unit)
    picture[mask & paper] = PAPER
    picture[mask & ink] = HATCHES[state].ink


@lru_cache(maxsize=16)
def _layers(height: int, width: int, state: State, unit: float) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return where ink lies and where the white flank lies, tiled from one period."""
    one = HATCHES[state]
    period = max(6, round(one.period * unit))
    y, x = np.mgrid[:period, :period]
    ink, both = _lines(x, y, one.lines, period) if one.lines else _dots(x, y, period)
    reps = (-(-height // period), -(-width // period))
    return np.tile(ink, reps)[:height, :width], np.tile(both & ~ink, reps)[:height, :width]


def _lines(
    x: NDArray[np.intp], y: NDArray[np.intp], directions: tuple[tuple[int, int], ...], period: int
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    phases = [(dx * x + dy * y) % period for dx, dy in directions]
    crossed = len(directions) > 1
    thick = max(2, round(period * (0.19 if crossed else 0.27)))
    flank = max(1, round(period * (0.1 if crossed else 0.13)))
    ink = np.any([phase < thick for phase in phases], axis=0)
    both = np.any([(phase + flank) % period < thick + 2 * flank for phase in phases], axis=0)
    return ink, both


def _dots(x: NDArray[np.intp], y: NDArray[np.intp], period: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    middle = (period - 1) / 2
    far = np.hypot(x - middle, y - middle)
    return far < 0.2 * period, far < 0.34 * period
