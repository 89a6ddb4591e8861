"""A shop's own fit: the last calibration of a model, adapted to the metals and the light of one shop.

The net stays as it is. The log odds l of bright metal become ``slope * l + shift`` (J. Platt, Probabilistic Outputs for
Support Vector Machines, 1999, from memory); everything else shares the rest as before. It acts where chances are told,
after they were averaged or, of a moved-light set, fused: what is proved of a fit is what the map then says.

Two bounds keep `bright` from becoming easier unproved. No slope is above 1, so that a fit never makes the tool surer by
itself. And intervals rest on the larger doubt of the two, with and without the fit (`SurfaceMap.doubt`), so that no place
adds less to the width of an interval than it did. A place that is no longer told counts as residue at the bad end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from prepcheck.terms import State

LEAST_SLOPE, MOST_SLOPE = 0.2, 1.0
MOST_SHIFT = 3.0
"""Either way, in nats: twentyfold odds. More would be another model, not another shop."""
_LEAST_CHANCE = 1e-6


@dataclass(frozen=True)
class ShopFit:
    """What a shop's labels change of a model's last calibration.

    Parameters
    ----------
    slope, shift : float
        Of the log odds of bright metal, natural logarithms.
    sha256 : str
        SHA-256 (hex) of the signed file that it was read from; empty while it is none.
    made_on : str
        Day of that file, ISO 8601.

    Raises
    ------
    ValueError
        A number is none or out of bounds.
    """

    slope: float
    shift: float
    sha256: str = ""
    made_on: str = ""

    def __post_init__(self) -> None:
        if not (LEAST_SLOPE <= self.slope <= MOST_SLOPE and abs(self.shift) <= MOST_SHIFT):
            raise ValueError(f"a slope of {self.slope} with a shift of {self.shift} is no fit")

    def sure(self, own: float) -> float:
        """Return the least chance from which a state is told, `own` being that of the model without a fit.

        It follows the slope, so that a slope alone tells the same places bright as before.
        """
        odds = self.slope * float(log_odds(np.float32(own)))
        return max(0.5, 1 / (1 + math.exp(-odds)))

    def applied(self, chances: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the fitted chances of states 0 to 5 and of weld bead or heat tint, shape (7, ...), as they came."""
        before = chances[State.BRIGHT]
        bright = 1 / (1 + np.exp(-(self.slope * log_odds(before) + self.shift)))
        fitted = chances * ((1 - bright) / np.maximum(1 - before, _LEAST_CHANCE))
        fitted[State.BRIGHT] = bright
        return np.asarray(fitted, np.float32)


def log_odds(chance: NDArray[np.float32] | np.float32) -> NDArray[np.float32]:
    """Return ln(p / (1 - p)) of chances, which are cut to what single precision tells from 0 and 1."""
    p = np.clip(chance, _LEAST_CHANCE, 1 - _LEAST_CHANCE)
    return np.asarray(np.log(p) - np.log1p(-p), np.float32)
