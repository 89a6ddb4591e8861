"""Intervals for counts."""

from __future__ import annotations

import math
from statistics import NormalDist


def wilson(hits: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the Wilson score interval of a proportion (E. B. Wilson, JASA 22, 1927).

    Parameters
    ----------
    hits, of : int
        Successes and trials, ``0 <= hits <= of``, at least one trial.
    confidence : float
        Two-sided level.

    Raises
    ------
    ValueError
        The counts are impossible.
    """
    if not 0 <= hits <= of or of == 0:
        raise ValueError(f"{hits} of {of} is no proportion")
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    share, scale = hits / of, 1 + z * z / of
    middle = (share + z * z / (2 * of)) / scale
    half = z * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of)) / scale
    return max(0.0, middle - half), min(1.0, middle + half)
