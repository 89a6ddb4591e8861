"""Filling a ground-out again: volume, filler, rods; and the shop's own line between fill and patch plate."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from prepcheck.errors import WrongUse
from prepcheck.settings import WallSettings
from prepcheck.trade.bounds import bounded
from prepcheck.trade.facts import Fact, Mark
from prepcheck.trade.wall import MOST_WALL_MM, Wall

DENSITY = Fact(2680.0, "kg/m3", "aluminium filler, 4043 about 2690, 5356 about 2640", Mark.MEMORY)
_MOST_AREA_MM2 = 4e6
"""Four square metres: no spot but a panel."""


class Shape(StrEnum):
    """Form of a ground-out, which says how much of area x deepest depth is hollow."""

    PRISM = "prism"
    DISH = "dish"


SHAPE_FACTOR = {Shape.PRISM: 1.0, Shape.DISH: 0.5}
"""Prism: steep sides, flat floor. Dish: a paraboloid, deepest in the middle, exactly half (geometry)."""


@dataclass(frozen=True)
class Rods:
    """What rods give: diameter, length, share lost in stubs and drops, share added for the cap."""

    diameter_mm: float
    length_mm: float
    loss_share: float
    overfill_share: float

    @classmethod
    def of(cls, settings: WallSettings, diameter_mm: float | None = None) -> Rods:
        """Return the rods of the settings, with another diameter if given."""
        diameter = settings.rod_mm if diameter_mm is None else diameter_mm
        bounded(diameter, "the rod's diameter", "mm", more_than=0, most=10.0)
        return cls(diameter, settings.rod_length_mm, settings.filler_loss_share, settings.overfill_share)

    @property
    def section_mm2(self) -> float:
        """Cross section of a rod."""
        return math.pi * self.diameter_mm**2 / 4


@dataclass(frozen=True)
class Refill:
    """Volume of a ground-out and the filler for it, with cap and losses."""

    shape: Shape
    volume_mm3: float
    filler_mm3: float
    length_mm: float
    rods: int

    @property
    def mass_kg(self) -> float:
        """Mass of the filler, by a density from memory."""
        return self.filler_mm3 * 1e-9 * DENSITY.value


def refill(area_mm2: float, depth_mm: float, shape: Shape, rods: Rods) -> Refill:
    """Compute the filler for a ground-out of an area and deepest depth.

    Raises
    ------
    WrongUse
        A number out of range.
    """
    bounded(area_mm2, "the area", "mm2", more_than=0, most=_MOST_AREA_MM2)
    bounded(depth_mm, "the depth", "mm", most=MOST_WALL_MM)
    volume = area_mm2 * depth_mm * SHAPE_FACTOR[shape]
    filler = volume * (1 + rods.overfill_share) / (1 - rods.loss_share)
    length = filler / rods.section_mm2
    return Refill(shape, volume, filler, length, math.ceil(length / rods.length_mm))


@dataclass(frozen=True)
class FillRule:
    """The shop's own line between fill and patch plate, and on which side of it a spot is."""

    least_share: float
    most_area_mm2: float
    too_thin: bool
    too_large: bool


def fill_rule(wall: Wall, area_mm2: float, settings: WallSettings) -> FillRule:
    """Hold the wall left and the area against the shop's own line; a share that is not known is not too thin."""
    too_thin = wall.share is not None and wall.share < settings.fill_least_share
    too_large = area_mm2 > settings.fill_most_area_mm2
    return FillRule(settings.fill_least_share, settings.fill_most_area_mm2, too_thin, too_large)


@dataclass(frozen=True)
class WallWork:
    """All that was computed about one spot; without an area there is nothing to refill."""

    wall: Wall
    minimum: Fact | None
    refill: Refill | None = None
    rods: Rods | None = None
    fill_rule: FillRule | None = None


def work_out(
    wall: Wall,
    minimum: Fact | None,
    settings: WallSettings,
    *,
    area_mm2: float | None = None,
    shape: Shape = Shape.PRISM,
    rod_mm: float | None = None,
) -> WallWork:
    """Add to a wall what it takes to fill it again.

    Raises
    ------
    WrongUse
        A number out of range, or an area where no depth is known.
    """
    if area_mm2 is None:
        return WallWork(wall, minimum)
    if wall.depth_mm is None:
        raise WrongUse("the depth of the ground-out is not known", "Give the nominal wall or readings before grinding")
    rods = Rods.of(settings, rod_mm)
    filled = refill(area_mm2, wall.depth_mm, shape, rods)
    return WallWork(wall, minimum, filled, rods, fill_rule(wall, area_mm2, settings))
