"""The bright share over grinding passes, drawn for a narrow screen: each mark has the shape of its standing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from prepcheck.record import Interval
from prepcheck.terms import Standing

MOST_SHOWN = 8
"""Passes that fit a phone's width with letters that can be read in the sun."""
_WIDTH, _LEFT, _TOP, _PLOT = 340.0, 44.0, 14.0, 170.0
_SHAPES = {
    Standing.BRIGHT: "M{x} {y}m-9 0a9 9 0 1 0 18 0a9 9 0 1 0 -18 0z",
    Standing.RESIDUE_LEFT: "M{x} {y}m-8 -8h16v16h-16z",
    Standing.CANNOT_TELL: "M{x} {y}m0 -10l10 10l-10 10l-10 -10z",
    Standing.RETAKE: "M{x} {y}m0 -9l9 16h-18z",
}


@dataclass(frozen=True)
class Told:
    """What one pass told: `share` is None where the photo was not fit to judge."""

    name: str
    standing: Standing
    share: float | None
    interval: Interval | None
    words: str


@dataclass(frozen=True)
class Level:
    """A level line with its number."""

    name: str
    x1: float
    x2: float
    y: float


@dataclass(frozen=True)
class Dot:
    """A pass: where its mark lies, from where to where its interval reaches; `y` is None where nothing was told."""

    name: str
    standing: Standing
    x: float
    y: float | None
    low: float | None
    high: float | None

    @property
    def shape(self) -> str:
        """The mark as the path of an SVG."""
        return "" if self.y is None else _SHAPES[self.standing].format(x=self.x, y=self.y)


@dataclass(frozen=True)
class Join:
    """A line from one pass to the next."""

    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True)
class ShareChart:
    """The drawing, `width` x `height` units; `alt` says in words what it shows."""

    alt: str
    levels: tuple[Level, ...]
    joins: tuple[Join, ...]
    dots: tuple[Dot, ...]
    left_out: int = 0
    width: float = _WIDTH
    height: float = _TOP + _PLOT + 34
    middle: float = _TOP + _PLOT / 2
    foot: float = _TOP + _PLOT + 26


def share_chart(told: Sequence[Told]) -> ShareChart:
    """Draw the scores of passes, oldest first."""
    shown = told[-MOST_SHOWN:]
    step = (_WIDTH - _LEFT - 6) / max(len(shown), 2)
    dots = tuple(_dot(one, round(_LEFT + (k + 0.5) * step, 1)) for k, one in enumerate(shown))
    joins = (_join(one, other) for one, other in pairwise(dots))
    return ShareChart(
        alt="; ".join(f"pass {one.name}: {one.words}" for one in told),
        levels=tuple(Level(f"{100 * share:.0f}", _LEFT, _WIDTH - 4, _y(share)) for share in (0.0, 0.5, 1.0)),
        joins=tuple(join for join in joins if join is not None),
        dots=dots,
        left_out=len(told) - len(shown),
    )


def _dot(told: Told, x: float) -> Dot:
    if told.share is None:
        return Dot(told.name, told.standing, x, None, None, None)
    low, high = (None, None) if told.interval is None else (_y(told.interval[0]), _y(told.interval[1]))
    return Dot(told.name, told.standing, x, _y(told.share), low, high)


def _join(one: Dot, other: Dot) -> Join | None:
    return None if one.y is None or other.y is None else Join(one.x, one.y, other.x, other.y)


def _y(share: float) -> float:
    return round(_TOP + _PLOT * (1 - share), 1)
