"""Wall left under a ground spot, and how it stands to a minimum.

A wall is measured with a thickness gauge, computed from the nominal wall and the depth of the ground-out, or gauged before
and after grinding. Errors are 95 % half widths. Against a minimum the guard band of ILAC-G8:09/2019 section 4 is kept
(seen): within the error of the minimum the answer is *cannot tell*.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from prepcheck.errors import WrongUse
from prepcheck.settings import WallSettings
from prepcheck.trade.bounds import bounded
from prepcheck.trade.entries import WallReading
from prepcheck.trade.facts import Fact, Mark
from prepcheck.trade.units import INCH_MM

MOST_WALL_MM = 100.0
"""Thicker is no tank wall but a slip of the pen."""
_MOST_READINGS = 200


class Regime(StrEnum):
    """Whose minimum a shop works to."""

    SMALL_CRAFT = "small-craft"
    RECREATIONAL = "recreational"
    PASSENGER = "passenger"
    CARGO_TANK = "cargo-tank"
    SHOP = "shop"


MINIMA = {
    Regime.SMALL_CRAFT: Fact(2.0, "mm", "ISO 21487:2022 as summarised by a seller of standards, aluminium", Mark.SEEN),
    Regime.RECREATIONAL: Fact(
        0.09 * INCH_MM, "mm", "ABYC as reported by a marine writer, 0.090 in of 5052, 5083 or 5086", Mark.SEEN
    ),
    Regime.PASSENGER: Fact(6.35, "mm", "46 CFR 182.440, 0.250 in of 5052, 5083 or 5086, all capacities", Mark.SEEN),
}
"""Published minima for the walls of new fuel tanks. They disagree by regime."""


class Against(StrEnum):
    """How a measured wall stands to a minimum."""

    NOT_BELOW = "not below it"
    BELOW = "below it"
    CANNOT_TELL = "cannot tell, measure again"


@dataclass(frozen=True)
class Wall:
    """Wall left at one spot.

    Attributes
    ----------
    method : str
        ``gauge``, ``depth`` or ``before_after``, as in the log.
    left_mm, error_mm : float
        Wall left, of several readings the least, and its 95 % half width.
    readings_mm : tuple of float
        What the gauge showed (after grinding), in the order taken; empty for ``depth``.
    nominal_mm, depth_mm : float or None
        Nominal wall, and depth of the ground-out, where known.
    """

    method: Literal["gauge", "depth", "before_after"]
    left_mm: float
    error_mm: float
    readings_mm: tuple[float, ...] = ()
    nominal_mm: float | None = None
    depth_mm: float | None = None

    @property
    def mean_mm(self) -> float:
        """Mean of the readings; the wall left where there are none."""
        return math.fsum(self.readings_mm) / len(self.readings_mm) if self.readings_mm else self.left_mm

    @property
    def share(self) -> float | None:
        """Wall left as a share of the nominal wall."""
        return None if self.nominal_mm is None else self.left_mm / self.nominal_mm

    def against(self, minimum_mm: float) -> Against:
        """Say how the wall stands to a minimum, with the error as the guard band."""
        if self.left_mm - self.error_mm >= minimum_mm:
            return Against.NOT_BELOW
        return Against.BELOW if self.left_mm + self.error_mm < minimum_mm else Against.CANNOT_TELL


def measured(
    settings: WallSettings,
    *,
    nominal_mm: float | None = None,
    depth_mm: float | None = None,
    gauge_mm: Sequence[float] = (),
    before_mm: Sequence[float] = (),
    error_mm: float | None = None,
) -> Wall:
    """Return the wall left by whichever way the figures given allow; errors that were not told are those of the settings.

    Raises
    ------
    WrongUse
        The figures tell of no wall, or of two at once, or one is out of range.
    """
    if not gauge_mm:
        if nominal_mm is None or depth_mm is None or before_mm:
            raise WrongUse("nothing tells the wall left", "Give gauge readings, or the nominal wall and a depth")
        error = settings.depth_error_mm if error_mm is None else error_mm
        return from_depth(
            nominal_mm, depth_mm, error_mm=error, nominal_error_mm=settings.nominal_error_share * abs(nominal_mm)
        )
    if depth_mm is not None:
        raise WrongUse("gauge readings and a depth are two ways to the wall left", "Give one of them")
    error = settings.gauge_error_mm if error_mm is None else error_mm
    if before_mm:
        return from_before_after(before_mm, gauge_mm, error_mm=error, nominal_mm=nominal_mm)
    return from_gauge(gauge_mm, error_mm=error, nominal_mm=nominal_mm)


def from_gauge(readings_mm: Sequence[float], *, error_mm: float, nominal_mm: float | None = None) -> Wall:
    """Return the wall by gauge: of several readings the least counts.

    Raises
    ------
    WrongUse
        No reading, too many, or a number out of range.
    """
    readings = _readings(readings_mm)
    if nominal_mm is not None:
        _thickness(nominal_mm, "the nominal wall")
    depth = None if nominal_mm is None else max(0.0, nominal_mm - min(readings))
    return Wall("gauge", min(readings), _error(error_mm), readings, nominal_mm, depth)


def from_depth(nominal_mm: float, depth_mm: float, *, error_mm: float, nominal_error_mm: float) -> Wall:
    """Return the wall from its nominal thickness and the depth of the ground-out.

    The errors of both are independent and add as squares.

    Raises
    ------
    WrongUse
        A number out of range, or a ground-out as deep as the wall is thick.
    """
    _thickness(nominal_mm, "the nominal wall")
    bounded(depth_mm, "the depth", "mm", most=MOST_WALL_MM)
    if depth_mm >= nominal_mm:
        raise WrongUse(
            "the ground-out is as deep as the wall is thick", "That is a hole, or a figure is wrong", f"{depth_mm:g} mm"
        )
    error = math.hypot(_error(error_mm), _error(nominal_error_mm))
    return Wall("depth", nominal_mm - depth_mm, error, (), nominal_mm, depth_mm)


def from_before_after(
    before_mm: Sequence[float], after_mm: Sequence[float], *, error_mm: float, nominal_mm: float | None = None
) -> Wall:
    """Return the wall gauged after grinding, with the depth ground out since it was gauged before.

    The depth is the difference of the means; the wall left is the least reading after.

    Raises
    ------
    WrongUse
        A number out of range, or more wall after grinding than before.
    """
    before, after = _readings(before_mm), from_gauge(after_mm, error_mm=error_mm, nominal_mm=nominal_mm)
    depth = math.fsum(before) / len(before) - after.mean_mm
    if depth < -math.sqrt(2) * error_mm:
        raise WrongUse(
            "there is more wall after grinding than before", "Check which readings are which", f"{-depth:.3g} mm more"
        )
    return Wall("before_after", after.left_mm, after.error_mm, after.readings_mm, nominal_mm, max(0.0, depth))


def of_entry(entry: WallReading, settings: WallSettings) -> Wall:
    """Return the wall that a logged reading tells of; an error that was not told is that of the settings."""
    readings = () if entry.method == "depth" else (entry.wall_mm,)
    by_depth = math.hypot(settings.depth_error_mm, settings.nominal_error_share * (entry.nominal_mm or entry.wall_mm))
    usual = by_depth if entry.method == "depth" else settings.gauge_error_mm
    error = usual if entry.uncertainty_mm is None else entry.uncertainty_mm
    return Wall(entry.method, entry.wall_mm, error, readings, entry.nominal_mm, entry.depth_mm)


def minimum(regime: Regime | None, own_mm: float | None, settings: WallSettings) -> Fact | None:
    """Return the minimum that the shop works to; None when it has picked none.

    A number of the person's own goes before the regime's, the regime before that of the settings.

    Raises
    ------
    WrongUse
        ``shop`` or ``cargo-tank`` without a number: they have none of their own.
    """
    if own_mm is not None:
        where = "specification minimum, as given" if regime is Regime.CARGO_TANK else "as given"
        return Fact(_thickness(own_mm, "the minimum"), "mm", where, Mark.SHOP)
    if regime in MINIMA:
        return MINIMA[regime]
    own = Fact(settings.minimum_mm, "mm", "settings, wall.minimum_mm", Mark.SHOP) if settings.minimum_mm else None
    if regime is Regime.CARGO_TANK or (regime is Regime.SHOP and own is None):
        raise WrongUse(
            f"the regime {regime.value} has no number here", "Give the minimum that applies", command="--minimum"
        )
    return own


def _readings(readings_mm: Sequence[float]) -> tuple[float, ...]:
    if not 1 <= len(readings_mm) <= _MOST_READINGS:
        raise WrongUse("there is no gauge reading, or too many", f"Give 1 to {_MOST_READINGS}", str(len(readings_mm)))
    return tuple(_thickness(reading, "a gauge reading") for reading in readings_mm)


def _thickness(value: float, what: str) -> float:
    return bounded(value, what, "mm", more_than=0, most=MOST_WALL_MM)


def _error(value: float) -> float:
    return bounded(value, "the error", "mm", most=MOST_WALL_MM)
