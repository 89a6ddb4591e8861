"""Percentiles without the general machinery: that takes longer than few values do, and sorts levels that can be counted."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def percentile(values: NDArray[Any], percent: float) -> float:
    """Return what ``numpy.percentile`` does by default: a percentile, linear between the two nearest values.

    Parameters
    ----------
    values : ndarray, any shape, integer or float
        At least one, none of them NaN.
    percent : float
        0 to 100.
    """
    at = (values.size - 1) * percent / 100
    low = int(at)
    below, above = _ordered(values, (low, min(low + 1, values.size - 1)))
    return below + (above - below) * (at - low)


def _ordered(values: NDArray[Any], places: tuple[int, int]) -> tuple[float, float]:
    """Return the values that would stand at two places, one the next of the other, if all were sorted."""
    if values.dtype == np.uint8:
        first, second = np.searchsorted(np.cumsum(np.bincount(values.ravel())), places, side="right")
    else:
        first, second = np.partition(values, places, axis=None)[list(places)]
    return float(first), float(second)
