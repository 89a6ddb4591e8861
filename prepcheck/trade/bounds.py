"""Refusing numbers that cannot be: the checks at the door of every computation of the trade."""

from __future__ import annotations

import math

from prepcheck.errors import WrongUse


def bounded(
    value: float, what: str, unit: str, *, more_than: float | None = None, least: float = 0.0, most: float
) -> float:
    """Return `value` when it is a finite number within bounds.

    Parameters
    ----------
    value : float
        The number, in `unit`.
    what, unit : str
        What it is called and its unit, for the error.
    more_than : float, optional
        Bound that is itself left out; replaces `least`.
    least, most : float
        Bounds that are themselves allowed.

    Raises
    ------
    WrongUse
        Not finite, or out of bounds.
    """
    enough = value > more_than if more_than is not None else value >= least
    if not (math.isfinite(value) and enough and value <= most):
        low = f"more than {more_than:g}" if more_than is not None else f"at least {least:g}"
        raise WrongUse(f"{what} is out of range", f"It has to be {low} and at most {most:g} {unit}", f"{value:g}")
    return value
