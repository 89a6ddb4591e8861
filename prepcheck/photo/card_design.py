"""Our own scale card, once, in mm: what is printed, looked for and drawn in tests.

Card coordinates: x to the right, y down, origin at the upper left corner of the card. The four markers come from
OpenCV's open dictionary ``DICT_4X4_100``: six modules a side with their border, the fewest of all dictionaries, so each
module is as large as it can be. Of its ids these four were searched for: any two of them, in any of the four turns, and
each against its own turns, differ in at least 7 of 16 bits (the dictionary as such promises 4 in its first 50), and
none is below 10, as people print those.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

VERSION = 1
WIDTH, HEIGHT = 110.0, 74.0
MARKER = 24.0
MODULES = 6
CHECK_LINE = 100.0
"""Nominal length of the checking line."""
IDS = (26, 57, 84, 86)
"""Upper left, upper right, lower right, lower left."""
CORNERS = ((5.0, 10.0), (81.0, 10.0), (81.0, 40.0), (5.0, 40.0))
"""Upper left corner of each marker."""
STEP_LIGHTNESS = (90, 75, 60, 45, 30, 15)
"""CIE lightness L* of the grey steps: even steps of 15."""
STEP_GREYS = (226, 185, 145, 106, 71, 38)
"""The same as sRGB values (IEC 61966-2-1, D65 white); what a printer makes of them is nominal."""
LEFT, RULER = 5.0, 100
INCH = 25.4


@dataclass(frozen=True)
class Box:
    """A filled rectangle: upper left corner and size in mm, grey 0 to 255."""

    x: float
    y: float
    width: float
    height: float
    grey: int = 0


@dataclass(frozen=True)
class Label:
    """A line of text: middle or left end of its baseline in mm, size of the type (em) in mm."""

    x: float
    y: float
    size: float
    text: str
    centred: bool = True
    bold: bool = False


def marker_corners() -> dict[int, NDArray[np.float64]]:
    """Corners of each marker by id, (4, 2) in mm, clockwise from the upper left as ``ArucoDetector`` gives them."""
    square = np.array([(0, 0), (MARKER, 0), (MARKER, MARKER), (0, MARKER)], np.float64)
    return {number: square + corner for number, corner in zip(IDS, CORNERS, strict=True)}


def outline() -> NDArray[np.float64]:
    """Corners of the card, (4, 2) in mm, clockwise from the upper left."""
    return np.array([(0, 0), (WIDTH, 0), (WIDTH, HEIGHT), (0, HEIGHT)], np.float64)


@cache
def dictionary() -> cv2.aruco.Dictionary:
    """The four markers alone, in the order of `IDS`; a code with one wrong bit is still read, 6 bits from any other."""
    whole = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    return cv2.aruco.Dictionary(np.ascontiguousarray(whole.bytesList[list(IDS)]), 4, 3)


@cache
def modules(index: int) -> NDArray[np.bool_]:
    """Which modules of the marker `IDS[index]` are white, by row and column with its border."""
    return np.asarray(dictionary().generateImageMarker(index, MODULES, borderBits=1) > 0)


@cache
def grey_steps() -> tuple[Box, ...]:
    """The grey steps, light to dark, in two rows between the upper markers."""
    width, height = 14.4, 11.8
    return tuple(
        Box(33 + (width + 0.4) * (i % 3), 10 + (height + 0.4) * (i // 3), width, height, grey)
        for i, grey in enumerate(STEP_GREYS)
    )


def boxes() -> tuple[Box, ...]:
    """All rectangles of the card on white paper, to be drawn in this order."""
    return (*_marker_boxes(), *grey_steps(), *_check_line(), *_mm_ruler(), *_inch_ruler())


def labels() -> tuple[Label, ...]:
    """All texts of the card."""
    middle = WIDTH / 2
    text = (
        Label(middle, 45.6, 5.0, "prepcheck", bold=True),
        Label(middle, 49.2, 2.6, f"scale card, version {VERSION}"),
        Label(middle, 54.2, 2.6, "Lay flat beside the spot,"),
        Label(middle, 57.4, 2.6, "all four corners in view."),
        Label(middle, 62.8, 2.6, "A scale, not a judgement.", bold=True),
    )
    check = Label(middle, 39.4, 2.1, f"checking line: {CHECK_LINE:.0f} mm on a true print")
    mm = [Label(LEFT + x, 6.6, 2.4, str(x)) for x in range(10, RULER + 1, 10)]
    inches = [Label(LEFT + INCH * i, HEIGHT - 5.0, 2.4, str(i)) for i in (1, 2, 3, 4)]
    units = (Label(LEFT, 6.6, 2.4, "mm"), Label(LEFT, HEIGHT - 5.0, 2.4, "inch"))
    return (*text, check, *mm, *inches, *units)


def _marker_boxes() -> list[Box]:
    """Black squares, then their white modules as runs along rows and along columns: the overlap leaves no hairlines."""
    module = MARKER / MODULES
    found = []
    for index, (x, y) in enumerate(CORNERS):
        found.append(Box(x, y, MARKER, MARKER))
        white = modules(index)
        rows = [Box(x + a * module, y + r * module, n * module, module, 255) for r, a, n in _runs(white)]
        columns = [Box(x + c * module, y + a * module, module, n * module, 255) for c, a, n in _runs(white.T)]
        found += rows + columns
    return found


def _runs(white: NDArray[np.bool_]) -> list[tuple[int, int, int]]:
    """Row, start and length of each run of True."""
    edges = np.diff(np.pad(white.astype(int), ((0, 0), (1, 1))), axis=1)
    starts, ends = np.argwhere(edges == 1), np.argwhere(edges == -1)
    return [(int(row), int(a), int(b - a)) for (row, a), (_, b) in zip(starts, ends, strict=True)]


def _check_line() -> tuple[Box, ...]:
    """A line whose outer ends are `CHECK_LINE` apart."""
    y, pen = 37.0, 0.3
    ends = (LEFT, LEFT + CHECK_LINE - pen)
    return (Box(LEFT, y - pen / 2, CHECK_LINE, pen), *(Box(x, y - 1.5, pen, 3.0) for x in ends))


def _mm_ruler() -> list[Box]:
    return [_tick(LEFT + x, 3.8 if x % 10 == 0 else 2.8 if x % 5 == 0 else 1.8, top=True) for x in range(RULER + 1)]


def _inch_ruler() -> list[Box]:
    lengths = {0: 3.8, 8: 3.2, 4: 2.6, 12: 2.6}
    ticks = range(16 * 4 + 1)
    return [_tick(LEFT + INCH * i / 16, lengths.get(i % 16, 2.0 if i % 2 == 0 else 1.4), top=False) for i in ticks]


def _tick(x: float, length: float, *, top: bool) -> Box:
    pen = 0.18
    return Box(x - pen / 2, 0.0 if top else HEIGHT - length, pen, length)
