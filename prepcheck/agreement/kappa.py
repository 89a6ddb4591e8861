"""Agreement beyond chance: Cohen's kappa for two, Fleiss' kappa for several, with 95 % intervals."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from prepcheck.agreement.proportion import Z95, proportion

COHEN = (
    "Cohen's kappa, 1960; error by Fleiss, Cohen, Everitt 1969 (formula from memory, agrees with a published printout)"
)
FLEISS = "Fleiss' kappa, 1971; error by linearisation (formula from memory, agrees with published values)"
EXACT = "no disagreement seen: low end by the exact interval of the share of equal answers, chance as counted"
BY_PHOTO = "each photo left out once (jackknife; formula from memory, agrees with resampling), Student's t"
SCALE = "Landis and Koch 1977"
"""The scale of the words. Copies differ on 0.00, and other scales use other words and bounds."""

_WORDS = ((0.20, "slight"), (0.40, "fair"), (0.60, "moderate"), (0.80, "substantial"), (math.inf, "almost perfect"))

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Kappa:
    """Agreement beyond chance.

    Parameters
    ----------
    value : float or None
        Kappa, at most 1; None where chance alone makes all answers equal, or nothing was answered.
    observed, chance : float or None
        Share of equal answers, and that expected by chance; None where nothing was answered.
    error : float or None
        Standard error of kappa, points taken as independent.
    interval : tuple of float or None
        Of 95 %, points taken as independent.
    method : str
        Where kappa and its interval come from.
    """

    value: float | None
    observed: float | None
    chance: float | None
    error: float | None
    interval: tuple[float, float] | None
    method: str


def cohen(table: NDArray[np.int64]) -> Kappa:
    """Compare two people.

    Parameters
    ----------
    table : ndarray, shape (k, k)
        How often the first gave the answer of the row while the second gave that of the column.
    """
    points = int(table.sum())
    if not points:
        return _nothing(COHEN)
    p = table / points
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    observed, chance = float(np.trace(p)), float(rows @ columns)
    if chance >= 1:
        return Kappa(None, observed, chance, None, None, COHEN)
    return _kappa(observed, chance, _cohen_error(p, rows, columns, observed, chance) / math.sqrt(points), points, COHEN)


def fleiss(counts: NDArray[np.int64]) -> Kappa:
    """Compare several people who all answered for each point.

    Parameters
    ----------
    counts : ndarray, shape (n, k)
        How many people gave each answer for each point; all rows add up to the same number, at least 2.
    """
    if len(counts) < 2:
        return _nothing(FLEISS)
    people = int(counts[0].sum())
    shares = counts.sum(axis=0) / counts.sum()
    equal = (counts * (counts - 1)).sum(axis=1) / (people * (people - 1))
    observed, chance = float(equal.mean()), float(shares @ shares)
    if chance >= 1:
        return Kappa(None, observed, chance, None, None, FLEISS)
    error = _fleiss_error(equal, counts @ shares / people, observed, chance)
    return _kappa(observed, chance, error, len(counts), FLEISS)


def by_photo(kappa_of: Callable[[NDArray[np.bool_]], Kappa], photos: NDArray[np.int64]) -> tuple[float, float] | None:
    """Return the 95 % interval of a kappa by leaving out one photo at a time (jackknife, Miller 1974; from memory).

    Points of one photo resemble each other, so the interval that takes them as independent is too narrow; this one
    takes only photos as independent.

    Parameters
    ----------
    kappa_of : callable
        Gives the kappa of the points that a mask (n,) keeps.
    photos : ndarray, shape (n,)
        Number of the photo that each point lies in.

    Returns
    -------
    tuple of float or None
        None with fewer than three photos, where a kappa is not defined, and where all of them are equal.
    """
    from scipy.special import stdtrit

    every, numbers = kappa_of(np.ones(len(photos), bool)).value, np.unique(photos)
    without = [kappa_of(photos != number).value for number in numbers]
    known = np.array([value for value in without if value is not None])
    if every is None or len(numbers) < 3 or len(known) < len(numbers):
        return None
    error = math.sqrt((len(known) - 1) / len(known) * float(((known - known.mean()) ** 2).sum()))
    half = float(stdtrit(len(known) - 1, 0.975)) * error
    return (max(-1.0, every - half), min(1.0, every + half)) if half else None


def word(value: float) -> str:
    """Return the word of the scale `SCALE` for a kappa."""
    return "poor" if value < 0 else next(said for bound, said in _WORDS if value <= bound)


def words(interval: tuple[float, float]) -> str:
    """Return the words for both ends of an interval: one word would claim more than is known."""
    low, high = map(word, interval)
    return low if low == high else f"{low} to {high}"


def _nothing(method: str) -> Kappa:
    return Kappa(None, None, None, None, None, method)


def _kappa(observed: float, chance: float, error: float, points: int, method: str) -> Kappa:
    value = (observed - chance) / (1 - chance)
    if math.isclose(observed, 1):
        low = (proportion(points, points).low - chance) / (1 - chance)
        return Kappa(value, observed, chance, error, (max(-1.0, low), 1.0), f"{method}; {EXACT}")
    interval = max(-1.0, value - Z95 * error), min(1.0, value + Z95 * error)
    return Kappa(value, observed, chance, error, interval, method)


def _cohen_error(p: Numbers, rows: Numbers, columns: Numbers, observed: float, chance: float) -> float:
    """Return the standard error for one point (Fleiss, Cohen and Everitt, Psychological Bulletin 72, 1969)."""
    equal = np.diag(p) @ ((1 - chance) - (rows + columns) * (1 - observed)) ** 2
    apart = p - np.diag(np.diag(p))
    unequal = (1 - observed) ** 2 * (apart * (columns[:, None] + rows[None, :]) ** 2).sum()
    rest = (observed * chance - 2 * chance + observed) ** 2
    return math.sqrt(max(0.0, float(equal + unequal - rest))) / (1 - chance) ** 2


def _fleiss_error(equal: Numbers, expected: Numbers, observed: float, chance: float) -> float:
    """Return the standard error of kappa: its spread over points, each with its share in the chance agreement."""
    value = (observed - chance) / (1 - chance)
    each = ((equal - chance) - 2 * (1 - value) * (expected - chance)) / (1 - chance)
    return float(each.std(ddof=1)) / math.sqrt(len(each))
