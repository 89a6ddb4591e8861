"""How often out of how many, with the exact interval."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

SOURCE = "Clopper and Pearson 1934 (exact)"
Z95 = NormalDist().inv_cdf(0.975)


@dataclass(frozen=True)
class Proportion:
    """`hits` out of `of`, with the exact 95 % interval `low` to `high` of the true share, all shares 0..1."""

    hits: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float | None:
        """The share seen; None of nothing."""
        return self.hits / self.of if self.of else None


def proportion(hits: int, of: int) -> Proportion:
    """Return a share with its exact two-sided 95 % interval (C. J. Clopper, E. S. Pearson, Biometrika 26, 1934).

    Nothing seen leaves 0 to 1.

    Raises
    ------
    ValueError
        The counts are impossible.
    """
    from scipy.special import betaincinv

    if not 0 <= hits <= of:
        raise ValueError(f"{hits} of {of} is no proportion")
    low = float(betaincinv(hits, of - hits + 1, 0.025)) if hits else 0.0
    high = float(betaincinv(hits + 1, of - hits, 0.975)) if hits < of else 1.0
    return Proportion(hits, of, low, high)
