"""Which markers of the scale card are in a picture, where their corners are, and what its grey steps show."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import card_design as design
from prepcheck.photo.percentile import percentile

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]
_FLAT = 6
"""Pixels per mm of the flattened card on which corners are measured; a module is 24 px."""
_EDGE = 24
"""Pixels kept around the flattened card and each marker on it: as far as the search for a corner looks."""
_WRONG_MODULES = 2
"""Modules of 36 that may be read wrong in a marker whose place is known."""
_LEAST_CONTRAST = 20.0
"""Between the modules of a marker, of 255."""
_SMALLEST = 64
"""Pictures with a shorter side hold no readable card."""


@dataclass(frozen=True, eq=False)
class Sighting:
    """Markers read: ids, corners (4 x ids, 2) on the card in mm and in the picture in px; gains as in `CardFind`."""

    ids: tuple[int, ...]
    mm: Array
    px: Array
    gains: Array | None


def sight_card(rgb: Picture) -> Sighting | None:
    """Read the card's markers in `rgb`, (h, w, 3) uint8; None when fewer than two are readable.

    Large cards are sought on the raster halved, small ones on all of it. The markers found give a first homography; on
    the card flattened by it the other markers are read and all corners measured.
    """
    if min(rgb.shape[:2]) < _SMALLEST:
        return None
    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)
    best: tuple[Array, dict[int, Array]] | None = None
    for first in (_detected_halved, _detected):
        found = first(grey)
        for _ in range(2):
            if not found or (flatten := _flattening(found)) is None:
                break
            found = _measured(grey, flatten)
            if best is None or len(found) > len(best[1]):
                best = flatten, found
        if best is not None and len(best[1]) >= 3:
            break
    if best is None or len(best[1]) < 2:
        return None
    return _sighting(rgb, *best)


def _sighting(rgb: Picture, flatten: Array, found: dict[int, Array]) -> Sighting:
    ids = tuple(sorted(found))
    mm = design.marker_corners()
    return Sighting(
        ids=ids,
        mm=np.concatenate([mm[number] for number in ids]),
        px=np.concatenate([found[number] for number in ids]),
        gains=_gains(rgb, flatten),
    )


def _detected_halved(grey: Picture) -> dict[int, Array]:
    half = np.asarray(cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.uint8)
    return {number: corners * 2 + 0.5 for number, corners in _detected(half, (13,)).items()}


def _detected(grey: Picture, windows: tuple[int, ...] = (3, 13, 23)) -> dict[int, Array]:
    """Corners (4, 2) px by id of the markers that OpenCV finds, one threshold a window; an id seen twice is left out."""
    corners, indices, _ = _detector(windows).detectMarkers(grey)
    ids = [] if indices is None else [design.IDS[int(i)] for i in np.ravel(indices)]
    found = {number: np.asarray(c, np.float64).reshape(4, 2) for number, c in zip(ids, corners, strict=True)}
    return {number: c for number, c in found.items() if ids.count(number) == 1}


def _detector(windows: tuple[int, ...]) -> cv2.aruco.ArucoDetector:
    knobs = cv2.aruco.DetectorParameters()
    knobs.minMarkerPerimeterRate = 0.02
    knobs.adaptiveThreshWinSizeMin, knobs.adaptiveThreshWinSizeMax = windows[0], windows[-1]
    return cv2.aruco.ArucoDetector(design.dictionary(), knobs)


def _flattening(found: dict[int, Array]) -> Array | None:
    """Homography from px to the flattened card, by the markers found."""
    mm = design.marker_corners()
    flat = np.concatenate([mm[number] for number in found]) * _FLAT + _EDGE - 0.5
    px = np.concatenate(list(found.values()))
    homography, _ = cv2.findHomography(px, flat, cv2.RANSAC, 0.25 * design.MARKER * _FLAT)
    return None if homography is None or not np.isfinite(homography).all() else np.asarray(homography, np.float64)


def _flattened(picture: Picture, flatten: Array, corner: tuple[int, int], size: tuple[int, int]) -> Picture:
    """Flatten a part of the card alone: so many pixels across and down from its upper left `corner`."""
    moved = np.array([(1.0, 0.0, -corner[0]), (0.0, 1.0, -corner[1]), (0.0, 0.0, 1.0)]) @ flatten
    flat = cv2.warpPerspective(picture, moved, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(flat, np.uint8)


def _measured(grey: Picture, flatten: Array) -> dict[int, Array]:
    """Corners in px of all markers that can be read on the flattened card."""
    back = np.linalg.inv(flatten)
    side = round(design.MARKER * _FLAT) + 2 * _EDGE
    found = {}
    for index, (number, (x, y)) in enumerate(zip(design.IDS, design.CORNERS, strict=True)):
        corner = round(x * _FLAT), round(y * _FLAT)
        flat = _flattened(grey, flatten, corner, (side, side))
        if _readable(flat, index):
            found[number] = cv2.perspectiveTransform((_refined(flat) + corner)[None], back)[0]
    return found


def _readable(flat: Picture, index: int) -> bool:
    """Whether the modules of a flattened marker, with `_EDGE` around it, are that marker's."""
    inside = flat[_EDGE:-_EDGE, _EDGE:-_EDGE]
    side = len(inside) // design.MODULES
    cells = inside.reshape(design.MODULES, side, design.MODULES, side)
    inner = cells[:, 6:-6, :, 6:-6].mean(axis=(1, 3))
    low, high = percentile(inner, 20), percentile(inner, 85)
    wrong = np.count_nonzero((inner > (low + high) / 2) != design.modules(index))
    return high - low >= _LEAST_CONTRAST and int(wrong) <= _WRONG_MODULES


def _refined(flat: Picture) -> Array:
    """Measure a flattened marker's corners in linear light: there blur leaves an edge in its place, in sRGB it does not."""
    light = np.asarray(cv2.LUT(flat, _LIGHT), np.float32)
    first, last = _EDGE - 0.5, len(flat) - _EDGE - 0.5
    start = np.array([(first, first), (last, first), (last, last), (first, last)], np.float32).reshape(4, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.01)
    return np.asarray(cv2.cornerSubPix(light, start, (11, 11), (-1, -1), stop), np.float64).reshape(4, 2)


def _gains(rgb: Picture, flatten: Array) -> Array | None:
    """Factors that make the grey steps neutral in linear light: their median over the steps that are well exposed.

    Only ratios within a step count, so a shadow over some of them does no harm.
    """
    ratios = []
    for box in design.grey_steps():
        x, y = (int((v + 0.25 * s) * _FLAT) + _EDGE for v, s in ((box.x, box.width), (box.y, box.height)))
        size = int(box.width * _FLAT / 2), int(box.height * _FLAT / 2)
        level = np.median(_flattened(rgb, flatten, (x, y), size).reshape(-1, 3), axis=0)
        if level.max() < 250 and level.min() > 20:
            light = linear(level)
            ratios.append(light[1] / light)
    return np.median(ratios, axis=0) if len(ratios) >= 2 else None


def linear(srgb: Array) -> Array:
    """Linear light, 0 to 1, of sRGB levels 0 to 255 (IEC 61966-2-1)."""
    level = np.asarray(srgb) / 255
    return np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)


_LIGHT = linear(np.arange(256.0)).astype(np.float32)
