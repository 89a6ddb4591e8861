"""The chart of the bright share over the passes of a spot, beside the strip of its passes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from prepcheck.report.hatch import PAPER
from prepcheck.report.lettering import Colour, Type, write
from prepcheck.report.pass_picture import PassPicture
from prepcheck.report.view import INK
from prepcheck.terms import Standing

Raster = NDArray[np.uint8]
UNIT = 2.0
"""Pixels of a unit in the picture of a history."""
EMPTY: Colour = (206, 210, 214)
_CHART = (176.0, 46.0, 24.0, 40.0)
"""Height of the plot, and the room left of it, above it and below it, in units."""


def chart_raster(passes: Sequence[PassPicture], width: int) -> Raster:
    """Return the chart as a picture `width` pixels wide."""
    height, marks = chart(passes, width / UNIT)
    sheet = Image.new("RGB", (width, round(height * UNIT)), PAPER)
    for mark in marks:
        mark.paint(ImageDraw.Draw(sheet))
    return np.array(sheet)


@dataclass(frozen=True)
class Mark:
    """A stroke (a polyline) or a text of the chart, in units."""

    points: tuple[tuple[float, float], ...]
    thick: float = 1.0
    ink: Colour = INK
    text: str = ""
    size: float = 12.0
    anchor: str = "mm"

    def paint(self, draw: ImageDraw.ImageDraw) -> None:
        """Draw the mark on a picture with `UNIT` pixels a unit."""
        places = [(x * UNIT, y * UNIT) for x, y in self.points]
        if self.text:
            write(draw, places[0], self.text, Type(self.size * UNIT), self.ink, self.anchor)
            return
        draw.line(places, fill=self.ink, width=round(self.thick * UNIT), joint="curve")
        for x, y in (places[0], places[-1]):
            r = self.thick * UNIT / 2
            draw.ellipse((x - r, y - r, x + r, y + r), fill=self.ink)


def chart(passes: Sequence[PassPicture], width: float) -> tuple[float, list[Mark]]:
    """Lay out the chart, `width` units wide; returns its height and its marks.

    A pass whose photo is not fit to judge, or that told nothing, has a ``?`` and no line leads through it.
    """
    plot, left, top, below = _CHART
    right = width - 16.0
    step = (right - left) / len(passes)
    marks = [Mark(((left - 34, 11),), text="score (100 x bright share) with its 95% interval", anchor="lm")]
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        y = top + plot * (1 - share)
        marks += [
            Mark(((left, y), (right, y)), 0.5, EMPTY),
            Mark(((left - 6, y),), text=f"{100 * share:.0f}", anchor="rm"),
        ]
    last: tuple[float, float] | None = None
    for k, one in enumerate(passes):
        x = left + (k + 0.5) * step
        if len(passes) <= 12 or k % 2 == 0:
            marks.append(Mark(((x, top + plot + 13),), text=str(one.pass_no)))
        at, drawn = _bar(one, x, min(7.0, 0.25 * step), lambda share: top + plot * (1 - share))
        marks += [Mark((last, at), 1.2, INK)] if last and at else []
        marks += drawn
        last = at
    marks.append(Mark((((left + right) / 2, top + plot + 29),), text="grinding pass"))
    return top + plot + below, marks


def _bar(
    one: PassPicture, x: float, half: float, up: Callable[[float], float]
) -> tuple[tuple[float, float] | None, list[Mark]]:
    """Return where a pass lies in the chart and its dot with the bar of its interval; None and a ``?`` when not told."""
    if one.bright_share is None or one.standing is Standing.RETAKE:
        return None, [Mark(((x, up(0.5)),), text="?", size=20.0)]
    at = (x, up(one.bright_share))
    dot = Mark((at, at), 1.3 * half)
    if one.interval is None:
        return at, [dot]
    low, high = (up(share) for share in one.interval)
    ends = [Mark(((x - half, y), (x + half, y)), 1.6) for y in (low, high)]
    return at, [Mark(((x, low), (x, high)), 1.6), *ends, dot]
