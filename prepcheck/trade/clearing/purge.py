"""How oxygen falls while a vessel is purged: two models of one purge, and cycles of pressure or vacuum.

The well-mixed model (C = C0 exp(-V/Vt)) takes every part of the vessel for stirred at every moment; a corner behind a
baffle can still lag behind it. The displacement model takes the gas for a piston that pushes the air out unmixed; no
real purge does that, so it is the least that could be needed. Shares are % by volume, amounts are vessel volumes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from prepcheck.errors import WrongUse
from prepcheck.trade.bounds import bounded

_MOST_VOLUMES = 1000.0


def mixed(start: float, gas: float, volumes: float) -> float:
    """Return the share after `volumes` of a purge gas that itself holds the share `gas`, well mixed.

    Parameters
    ----------
    start, gas : float
        % by volume, 0 to 100, in the vessel and in what is let in.
    volumes : float
        Purge gas let in, in vessel volumes, 0 to 1000.
    """
    _shares(start, gas)
    bounded(volumes, "the purge", "vessel volumes", most=_MOST_VOLUMES)
    return gas + (start - gas) * math.exp(-volumes)


def mixed_volumes(start: float, target: float, gas: float = 0.0) -> float:
    """Return the vessel volumes until the share is `target`, well mixed: ln((c0 - cp) / (ct - cp)).

    Raises
    ------
    WrongUse
        The target does not lie between the start and what the gas itself holds, so that no amount reaches it.
    """
    return math.log(1 / (1 - displaced_volumes(start, target, gas)))


def displaced(start: float, gas: float, volumes: float) -> float:
    """Return the mean share in the vessel after `volumes`, if the gas pushes the air out like a piston."""
    _shares(start, gas)
    bounded(volumes, "the purge", "vessel volumes", most=_MOST_VOLUMES)
    return start + (gas - start) * min(volumes, 1.0)


def displaced_volumes(start: float, target: float, gas: float = 0.0) -> float:
    """Return the vessel volumes until the mean share is `target`, if the gas pushes the air out like a piston.

    Raises
    ------
    WrongUse
        No amount reaches the target.
    """
    _shares(start, target, gas)
    if start == gas or not 0 <= (start - target) / (start - gas) < 1:
        raise WrongUse(
            f"{target:g} % cannot be reached from {start:g} % with a gas that holds {gas:g} %", "Check target and gas"
        )
    return (start - target) / (start - gas)


@dataclass(frozen=True)
class Cycles:
    """Purging by cycles: how many are needed to the decimal, how many to run, what they take and leave.

    `volumes` is the gas let in, in vessel volumes at the lower pressure of a pressure purge, the higher of a vacuum one.
    """

    exact: float
    run: int
    volumes: float
    left: float


def pressure_cycles(start: float, target: float, low_pa: float, high_pa: float) -> Cycles:
    """Fill to `high_pa` with pure gas, mix, let down to `low_pa` (absolute pressures), again and again."""
    run, exact, ratio = _cycles(start, target, low_pa, high_pa)
    return Cycles(exact, run, run * (1 / ratio - 1), start * ratio**run)


def vacuum_cycles(start: float, target: float, low_pa: float, high_pa: float) -> Cycles:
    """Draw down to `low_pa`, fill with pure gas to `high_pa` (absolute pressures), again and again."""
    run, exact, ratio = _cycles(start, target, low_pa, high_pa)
    return Cycles(exact, run, run * (1 - ratio), start * ratio**run)


def _cycles(start: float, target: float, low_pa: float, high_pa: float) -> tuple[int, float, float]:
    _shares(start, target)
    if not (0 < target < start and 0 < low_pa < high_pa < math.inf):
        raise WrongUse("a purge by cycles needs target below start and low below high pressure", "Check them")
    ratio = low_pa / high_pa
    exact = math.log(start / target) / math.log(1 / ratio)
    return math.ceil(exact - 1e-9), exact, ratio


def _shares(*shares: float) -> None:
    for share in shares:
        bounded(share, "a share", "% by volume", most=100.0)
