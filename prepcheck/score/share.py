"""Bright share with an interval that carries the model's own error."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.surface import SurfaceMap
from prepcheck.terms import RESIDUE, State


@dataclass(frozen=True)
class BrightShare:
    """Bright metal as a share of a readable area.

    Parameters
    ----------
    value : float or None
        Share, 0..1; None when nothing can be read.
    low, high : float
        Ends of the interval at the confidence to which the model's error was fitted (95 %); 0 and 1 when nothing can
        be read.
    readable : float
        Share of the area that can be told, 0..1.
    """

    value: float | None
    low: float
    high: float
    readable: float

    @property
    def least_residue(self) -> float:
        """Residue share of the whole area at the good end: what cannot be told counts as bright."""
        return self.readable * (1 - self.high)

    @property
    def most_residue(self) -> float:
        """Residue share of the whole area at the bad end: what cannot be told counts as residue."""
        return 1 - self.readable * self.low


def bright_share(surface: SurfaceMap, mask: NDArray[np.bool_]) -> BrightShare:
    """Measure the bright share of the pixels in `mask`, shape (h, w), bool.

    The interval is ``value -+ error_scale * (u + error_floor)`` with u the mean of `SurfaceMap.doubt`, min(p, 1 - p) for p the
    calibrated probability of bright metal, over the told pixels: on average as many pixels are expected to be told wrong.
    Scale and floor are fitted by split conformal prediction on held-out scenes (model card).
    """
    told = mask & surface.told
    total, readable = np.count_nonzero(mask), np.count_nonzero(told)
    if readable == 0:
        return BrightShare(None, 0.0, 1.0, 0.0)
    value = np.count_nonzero(told & (surface.states == State.BRIGHT)) / readable
    doubt = cv2.mean(surface.doubt, told.view(np.uint8))[0]
    half = surface.model.error_scale * (doubt + surface.model.error_floor)
    return BrightShare(value, max(0.0, value - half), min(1.0, value + half), readable / total)


def state_shares(surface: SurfaceMap, mask: NDArray[np.bool_]) -> dict[State, float]:
    """Return the share of each state inside `mask`; they sum to 1. Background inside a spot cannot be told."""
    counts = cv2.calcHist([surface.states], [0], mask.view(np.uint8), [256], [0, 256]).ravel()
    total = max(1, int(counts.sum()))
    shares = {state: int(counts[state]) / total for state in (State.BRIGHT, *RESIDUE)}
    return shares | {State.CANNOT_TELL: (int(counts[State.CANNOT_TELL]) + int(counts[State.BACKGROUND])) / total}
