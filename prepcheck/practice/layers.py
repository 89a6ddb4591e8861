"""What is laid over the photo: the mark, the other answer, or the difference; told apart by pattern as well as by colour."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.practice.difference import Difference

Mask = NDArray[np.bool_]
Raster = NDArray[np.uint8]


class Layer(StrEnum):
    """What can be laid over the photo."""

    DIFFERENCE = "difference"
    MARKED = "marked"
    OTHER = "other"


@dataclass(frozen=True)
class Pattern:
    """Ink (red, green, blue) and lines: ``slanted``, ``level``, ``crossed`` or ``dots``."""

    name: str
    ink: tuple[int, int, int]
    lines: str


BOTH = Pattern("both", (16, 21, 29), "crossed")
ONLY_MARKED = Pattern("only-marked", (150, 80, 0), "slanted")
ONLY_OTHER = Pattern("only-other", (20, 62, 140), "level")
NOT_SURE = Pattern("not-sure", (60, 60, 60), "dots")
_PERIOD, _INK, _PAPER = 10, 3, 7


def draw(difference: Difference, layer: Layer, long: int = 1280) -> Raster:
    """Draw a layer on nothing.

    Returns
    -------
    ndarray, shape (h, w, 4), uint8
        RGBA, with a long side of at least the map's, and of `long` where the map is smaller.
    """
    masks = _masks(difference, layer)
    h, w = difference.both.shape
    factor = max(1.0, long / max(h, w))
    size = round(w * factor), round(h * factor)
    picture = np.zeros((size[1], size[0], 4), np.uint8)
    for pattern, mask in masks:
        _hatch(picture, _larger(mask, size), pattern)
    return picture


def _masks(d: Difference, layer: Layer) -> list[tuple[Pattern, Mask]]:
    if layer is Layer.MARKED:
        return [(ONLY_MARKED, d.both | d.only_marked | d.outside)]
    if layer is Layer.OTHER:
        return [(ONLY_OTHER, d.both | d.only_other)]
    return [
        (NOT_SURE, d.unsure),
        (BOTH, d.both),
        (ONLY_MARKED, d.only_marked | d.outside),
        (ONLY_OTHER, d.only_other),
    ]


def _larger(mask: Mask, size: tuple[int, int]) -> Mask:
    return np.asarray(cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST_EXACT), bool)


def _hatch(picture: Raster, mask: Mask, pattern: Pattern) -> None:
    """Draw lines with a white flank, and an edge, so that it shows on metal and on oxide, and where it is small."""
    y, x = np.nonzero(mask)
    if not len(x):
        return
    far = _far(x, y, pattern.lines)
    box = np.s_[y.min() : y.max() + 1, x.min() : x.max() + 1]
    picture[y[far < _PAPER / 2], x[far < _PAPER / 2]] = (255, 255, 255, 255)
    picture[y[far < _INK / 2], x[far < _INK / 2]] = (*pattern.ink, 255)
    edges, _ = cv2.findContours(mask[box].astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    part = np.ascontiguousarray(picture[box])
    cv2.polylines(part, edges, True, (255, 255, 255, 255), 4)
    cv2.polylines(part, edges, True, (*pattern.ink, 255), 2)
    picture[box] = part


def _far(x: NDArray[np.intp], y: NDArray[np.intp], lines: str) -> NDArray[np.float64]:
    """Return how far each pixel lies from the nearest line of a pattern."""
    match lines:
        case "level":
            return _from_line(y)
        case "slanted":
            return _from_line(x + y)
        case "crossed":
            return np.asarray(np.minimum(_from_line(x + y), _from_line(x - y)), np.float64)
    return np.asarray(np.hypot(_from_line(x), _from_line(y)), np.float64)


def _from_line(phase: NDArray[np.intp]) -> NDArray[np.float64]:
    return np.asarray(np.abs((phase + _PERIOD / 2) % _PERIOD - _PERIOD / 2), np.float64)
