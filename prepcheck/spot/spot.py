"""Ground spots in a surface map."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from cv2.typing import MatLike, Rect
from numpy.typing import NDArray

from prepcheck.settings import Settings, SpotSettings
from prepcheck.surface import SurfaceMap, showing
from prepcheck.terms import State


@dataclass(frozen=True, eq=False)
class Spot:
    """One ground area.

    Parameters
    ----------
    number : int
        Its number in the photo, from 1, in reading order.
    outline : ndarray, shape (n, 2), float64
        Outer outline as (x, y) in pixels of the full-size photo.
    mask : ndarray, shape (h, w), bool
        Its pixels in the surface map, residue and pits inside the outline included.
    outlined_by : {"tool", "person"}
        Who drew the outline.
    """

    number: int
    outline: NDArray[np.float64] = field(repr=False)
    mask: NDArray[np.bool_] = field(repr=False)
    outlined_by: str = "tool"


@dataclass(frozen=True)
class NoSpot:
    """No ground spot, and why."""

    reason: str


def find_spots(surface: SurfaceMap, settings: Settings) -> tuple[Spot, ...] | NoSpot:
    """Outline the ground spots of a surface map, in reading order.

    Coating along the rim of a find is no part of the spot; residue, flecks of coating and pits inside are.

    Returns
    -------
    tuple of Spot or NoSpot
        At most ``settings.spot.most_spots``, the largest ones when there are more.
    """
    rule = settings.spot
    finds = _finds(surface, rule)
    if not finds:
        return NoSpot("nothing in the picture looks like ground metal")
    large = [mask for mask in finds if mask.mean() >= rule.least_share]
    if not large:
        return NoSpot(f"only places smaller than {rule.least_share:.1%} of the picture look ground")
    large = sorted(large, key=np.count_nonzero, reverse=True)[: rule.most_spots]
    return tuple(
        Spot(number, _outline(mask, surface), mask) for number, mask in enumerate(_in_reading_order(large), start=1)
    )


def drawn_spots(outlines: list[NDArray[np.float64]], surface: SurfaceMap, first: int = 1) -> tuple[Spot, ...]:
    """Make spots of outlines drawn by a person, (n, 2) as (x, y) in full-size pixels, numbered from `first`."""
    spots = []
    for number, outline in enumerate(outlines, start=first):
        mask = np.zeros(surface.states.shape, np.uint8)
        cv2.fillPoly(mask, [np.round(surface.from_full(outline)).astype(np.int32)], 1)
        spots.append(Spot(number, outline, mask.astype(bool), "person"))
    return tuple(spots)


def touches_edge(spot: Spot) -> bool:
    """Say whether the spot reaches the edge of the picture."""
    m = spot.mask
    return bool(m[0].any() or m[-1].any() or m[:, 0].any() or m[:, -1].any())


def _finds(surface: SurfaceMap, rule: SpotSettings) -> list[NDArray[np.bool_]]:
    ground = (surface.ground >= rule.ground_probability).astype(np.uint8)
    radius = max(1, round(max(ground.shape) * rule.bridge_share))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    closed = cv2.morphologyEx(ground, cv2.MORPH_CLOSE, kernel)
    opened = cv2.morphologyEx(closed, cv2.MORPH_OPEN, kernel)
    contours, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return [_without_rim(_filled(contour, opened.shape), surface, 2 * radius) for contour in contours]


def _filled(contour: MatLike, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    mask = np.zeros(shape, np.uint8)
    cv2.drawContours(mask, [contour], -1, 1, thickness=cv2.FILLED)
    return mask.astype(bool)


def _without_rim(mask: NDArray[np.bool_], surface: SurfaceMap, width: int) -> NDArray[np.bool_]:
    """Take off what is not metal within `width` pixels of the outline."""
    x, y, across, down = cv2.boundingRect(mask.view(np.uint8))
    box = np.s_[y : y + down, x : x + across]
    depth = cv2.distanceTransform(np.pad(mask[box], 1).astype(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]
    outer = showing(surface.states[box], (State.BACKGROUND, State.COATING))
    kept = mask.copy()
    kept[box] &= ~((depth <= width) & outer)
    return kept


def _outline(mask: NDArray[np.bool_], surface: SurfaceMap) -> NDArray[np.float64]:
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(contours, key=cv2.contourArea)
    simple = cv2.approxPolyDP(longest, 1.0, closed=True)[:, 0, :]
    return surface.to_full(simple.astype(np.float64))


def _in_reading_order(masks: list[NDArray[np.bool_]]) -> list[NDArray[np.bool_]]:
    """Order by rows, then from left to right; a spot opens a new row when its middle lies below the row's spots."""
    boxes = [(cv2.boundingRect(mask.astype(np.uint8)), mask) for mask in masks]
    boxes.sort(key=lambda item: item[0][1] + item[0][3] / 2)
    rows: list[list[tuple[Rect, NDArray[np.bool_]]]] = []
    for box, mask in boxes:
        middle = box[1] + box[3] / 2
        if rows and middle < rows[-1][0][0][1] + rows[-1][0][0][3]:
            rows[-1].append((box, mask))
        else:
            rows.append([(box, mask)])
    return [mask for row in rows for _, mask in sorted(row, key=lambda item: item[0][0])]
