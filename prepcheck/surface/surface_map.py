"""The frozen objects of the surface layer."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo.photo import enlargement
from prepcheck.surface.shop_fit import ShopFit
from prepcheck.terms import RESIDUE, State


def showing(states: NDArray[np.uint8], wanted: tuple[State, ...]) -> NDArray[np.bool_]:
    """Return where a map of states (h, w) has one of those wanted, by a table: ``numpy.isin`` takes ten times as long."""
    table = np.zeros(256, np.uint8)
    table[list(wanted)] = 1
    return np.asarray(cv2.LUT(states, table)).view(np.bool_)


@dataclass(frozen=True)
class ModelOrigin:
    """Which model answered, and how wrong it is known to be.

    Parameters
    ----------
    name, sha256 : str
        Name in the registry and SHA-256 (hex) of the model file.
    sure : float
        Least probability with which a pixel's state is told.
    error_scale, error_floor : float
        A spot's bright share is uncertain by ``error_scale * (u + error_floor)``, u being the mean over its told
        pixels of `SurfaceMap.doubt`; fitted on held-out scenes (see the card).
    shop_fit : ShopFit, optional
        What a shop fitted of the last calibration; `sure` already follows it.
    """

    name: str
    sha256: str
    sure: float
    error_scale: float
    error_floor: float
    shop_fit: ShopFit | None = None

    def fitted(self, fit: ShopFit) -> ModelOrigin:
        """Return the origin of the same model's answers with a shop's fit."""
        return replace(self, sure=fit.sure(self.sure), shop_fit=fit)


@dataclass(frozen=True, eq=False)
class SurfaceMap:
    """What each pixel shows, at the size (h, w) of the model's maps.

    Parameters
    ----------
    states : ndarray, shape (h, w), uint8
        Codes of `prepcheck.terms.State`.
    bright : ndarray, shape (h, w), float32
        Calibrated probability of bright metal, 0..1; with the shop's fit where `model` has one.
    ground : ndarray, shape (h, w), float32
        Probability of lying inside a ground spot, 0..1.
    burnt : ndarray, shape (h, w), bool
        Burnt-out pixels.
    reduction : tuple of float
        Full-size pixels per map pixel, along x and y.
    model : ModelOrigin
        Who answered.
    chances : ndarray, shape (7, h, w), float32, optional
        Calibrated probabilities of states 0 to 5 and of weld bead or heat tint, without any fit of a shop; what moved-light
        fusion works on.
    """

    states: NDArray[np.uint8] = field(repr=False)
    bright: NDArray[np.float32] = field(repr=False)
    ground: NDArray[np.float32] = field(repr=False)
    burnt: NDArray[np.bool_] = field(repr=False)
    reduction: tuple[float, float]
    model: ModelOrigin
    chances: NDArray[np.float32] | None = field(default=None, repr=False)

    @property
    def residue(self) -> NDArray[np.float32]:
        """Probability that a pixel is not bright metal, shape (h, w)."""
        return np.asarray(1.0 - self.bright, np.float32)

    @cached_property
    def told(self) -> NDArray[np.bool_]:
        """Where bright metal or residue is told, shape (h, w)."""
        return showing(self.states, (State.BRIGHT, *RESIDUE))

    @cached_property
    def told_residue(self) -> NDArray[np.bool_]:
        """Where residue is told, shape (h, w)."""
        return showing(self.states, RESIDUE)

    @cached_property
    def doubt(self) -> NDArray[np.float32]:
        """The lesser of the probabilities of bright metal and of anything else, shape (h, w).

        With a shop's fit it is never less than without.
        """
        doubt = np.asarray(np.minimum(self.bright, 1 - self.bright), np.float32)
        if self.model.shop_fit is None or self.chances is None:
            return doubt
        own = np.clip(self.chances[State.BRIGHT], 0, 1)
        return np.asarray(np.maximum(doubt, np.minimum(own, 1 - own)), np.float32)

    def to_full(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Turn map positions (n, 2) as (x, y), pixel centres at whole numbers, into those of the full-size photo."""
        return np.asarray((points + 0.5) * np.asarray(self.reduction) - 0.5, np.float64)

    def from_map(self, other: SurfaceMap, matrix: NDArray[np.float64]) -> NDArray[np.float64]:
        """Homography from map pixels of another photo's map to those of this one, shape (3, 3).

        `matrix` is the one from full-size pixels of the other photo to those of this map's photo.
        """
        return np.asarray(np.linalg.inv(enlargement(*self.reduction)) @ matrix @ enlargement(*other.reduction))

    def from_full(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Turn full-size positions (n, 2) into map positions: the inverse of `to_full`."""
        return np.asarray((points + 0.5) / np.asarray(self.reduction) - 0.5, np.float64)
