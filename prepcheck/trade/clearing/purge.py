"""How oxygen falls while a vessel is purged: two models of one purge.

The well-mixed model (C = C0 exp(-V/Vt)) takes every part of the vessel for stirred at every moment; a corner behind a
baffle can still lag behind it. The displacement model takes the gas for a piston that pushes the air out unmixed; no
real purge does that, so it is the least that could be needed. Shares are % by volume, amounts are vessel volumes.
"""

from __future__ import annotations

import math

from prepcheck.errors import WrongUse
from prepcheck.trade.bounds import bounded


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
    bounded(volumes, "the purge", "vessel volumes", most=1000.0)
    return gas + (start - gas) * math.exp(-volumes)


def mixed_volumes(start: float, target: float, gas: float = 0.0) -> float:
    """Return the vessel volumes until the share is `target`, well mixed: ln((c0 - cp) / (ct - cp)).

    Raises
    ------
    WrongUse
        The target does not lie between the start and what the gas itself holds, so that no amount reaches it.
    """
    return math.log(1 / (1 - displaced_volumes(start, target, gas)))


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


def _shares(*shares: float) -> None:
    for share in shares:
        bounded(share, "a share", "% by volume", most=100.0)
