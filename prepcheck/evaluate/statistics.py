"""Intervals for counts, and area fractions by manual point count."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean, stdev


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


@dataclass(frozen=True)
class PointCount:
    """An area fraction in percent: mean, standard deviation over fields, 95 % half width, relative accuracy in percent."""

    mean: float
    deviation: float
    confidence: float
    relative_accuracy: float


def point_count(hits: Sequence[float], points: int) -> PointCount:
    """Estimate an area fraction from grid points counted in several fields (ASTM E562).

    A person who wants a second opinion on a map lays a grid over it and counts.

    Parameters
    ----------
    hits : sequence of float
        Points that fall on the phase in each field; a point on a boundary counts one half (E562 section 3.2.1). At
        least two fields.
    points : int
        Grid points of each field.
    """
    from scipy.special import stdtrit

    percents = [100 * hit / points for hit in hits]
    mean, deviation = fmean(percents), stdev(percents)
    half = float(stdtrit(len(hits) - 1, 0.975)) * deviation / math.sqrt(len(hits))
    return PointCount(mean, deviation, half, 100 * half / mean if mean else math.inf)
