"""Numbers of spots and the arrow to the worst patch, placed where they hide least."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from prepcheck.record import PatchRecord, Record, SpotRecord
from prepcheck.report.hatch import PAPER
from prepcheck.report.lettering import Colour, Type, shown, write
from prepcheck.report.view import INK, SIGNAL, Points, View, whole
from prepcheck.report.words import person_spots, pointed_at
from prepcheck.terms import Standing

PatchWords = Callable[[PatchRecord], str]
TAG_COLOURS: dict[Standing, tuple[Colour, Colour]] = {
    Standing.RESIDUE_LEFT: (SIGNAL, PAPER),
    Standing.CANNOT_TELL: (INK, PAPER),
    Standing.RETAKE: (INK, PAPER),
    Standing.BRIGHT: (PAPER, INK),
}
"""Fill and lettering of a spot's number."""


def draw_labels(
    mat: NDArray[np.uint8],
    view: View,
    record: Record,
    inside: NDArray[np.bool_],
    residue: NDArray[np.bool_],
    patch_label: PatchWords,
) -> None:
    """Write the numbers of the spots and point at the worst patch, where they hide least of the spots.

    Parameters
    ----------
    mat : ndarray, shape (h, w, 3), uint8
        Drawn on in place.
    view : View
        Where the photo lies on it.
    record : Record
        Whose spots.
    inside, residue : ndarray, shape (h, w), bool
        What lies in a spot; what is residue there.
    patch_label : callable
        Says what stands at the arrow.
    """
    taken = inside.astype(np.int32)
    worst = pointed_at(record)
    if worst is not None:
        _point_at(mat, view, worst, shown(patch_label(worst)), taken, residue)
    refused = record.by_person.refused if record.by_person else {}
    for spot in record.spots:
        _tag(mat, view, spot, taken, refused=spot.number in refused)
    for spot in person_spots(record):
        _tag(mat, view, spot, taken)


def _point_at(
    mat: NDArray[np.uint8],
    view: View,
    patch: PatchRecord,
    text: str,
    taken: NDArray[np.int32],
    residue: NDArray[np.bool_],
) -> None:
    """Write the patch's length beside the spot and draw an arrow from there to its edge."""
    unit, kind = view.unit, Type(15 * view.unit, bold=True)
    target = view.place([patch.at])[0]
    half = np.array([kind.width(text) / 2 + 7 * unit, 12 * unit])
    middle = _free_place(taken, target, half, [r * unit for r in (45, 70, 100, 140, 190)])
    tip = _clear_of_plate(middle, half, _first_hit(middle, target, residue), target, 24 * unit)
    _arrow(mat, middle, tip, unit)
    _plate(mat, middle, half, PAPER, INK, unit)
    _letters(mat, middle, text, kind, INK)
    _take(taken, middle, half)


def _tag(
    mat: NDArray[np.uint8], view: View, spot: SpotRecord, taken: NDArray[np.int32], *, refused: bool = False
) -> None:
    """Write a spot's number at its outline, where it hides least of any spot."""
    if not spot.outline:
        return
    unit, outline = view.unit, view.place(spot.outline)
    text = tag_text(spot)
    fill, ink = TAG_COLOURS[spot.standing]
    kind = Type(15 * unit, bold=True)
    half = np.array([max(11 * unit, kind.width(text) / 2 + 4 * unit), 11 * unit])
    middle = _beside_outline(taken, outline, half)
    _plate(mat, middle, half, fill, INK if fill == PAPER else PAPER, unit)
    _letters(mat, middle, text, kind, ink)
    if refused:
        for colour, width in ((PAPER, 2.8), (SIGNAL, 1.4)):
            _line(mat, middle - half, middle + half, colour, width * unit)
    _take(taken, middle, half)


def tag_text(spot: SpotRecord) -> str:
    """Return a spot's number with a sign of its standing: ``1!`` residue left, ``1?`` cannot tell, ``1`` bright."""
    sign = {Standing.RESIDUE_LEFT: "!", Standing.CANNOT_TELL: "?", Standing.RETAKE: "?"}.get(spot.standing, "")
    return f"{spot.number}{sign}"


def _free_place(taken: NDArray[np.int32], target: Points, half: Points, radii: list[float]) -> Points:
    """Return a middle for a plate of half size `half` around `target` that hides least; nearer is better."""
    angles = np.deg2rad(np.arange(0, 360, 22.5))
    ring = np.concatenate(
        [target + (half * 0.7 + r) * np.column_stack([np.cos(angles), np.sin(angles)]) for r in radii]
    )
    return _least_hiding(taken, _kept_in(ring, half, taken.shape), half, target)


def _beside_outline(taken: NDArray[np.int32], outline: Points, half: Points) -> Points:
    """Return a middle for a plate beside the outline's upper left part, or wherever it hides least."""
    centre, corner = outline.mean(axis=0), outline.min(axis=0)
    some = outline[:: max(1, len(outline) // 48)]
    away = some - centre
    away /= np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-9)
    return _least_hiding(taken, _kept_in(some + away * half * 1.25, half, taken.shape), half, corner)


def _kept_in(middles: Points, half: Points, size: tuple[int, ...]) -> Points:
    far = np.maximum(np.array([size[1], size[0]]) - 2 - half, half)
    return np.clip(middles, np.minimum(half + 1, far), far)


def _least_hiding(taken: NDArray[np.int32], middles: Points, half: Points, near: Points) -> Points:
    """Choose among `middles` by how much of what is taken a plate would hide, then by nearness."""
    total = cv2.integral(taken.astype(np.float32))
    low = np.clip(whole(middles - half), 0, None)
    high = np.minimum(whole(middles + half) + 1, [taken.shape[1], taken.shape[0]])
    x0, y0, x1, y1 = low[:, 0], low[:, 1], high[:, 0], high[:, 1]
    hidden = (total[y1, x1] - total[y0, x1] - total[y1, x0] + total[y0, x0]) / (4 * half.prod())
    distance = np.linalg.norm(middles - near, axis=1) / max(taken.shape)
    best: Points = middles[int(np.argmin(hidden + distance))]
    return best


def _take(taken: NDArray[np.int32], middle: Points, half: Points) -> None:
    (x0, y0), (x1, y1) = np.maximum(whole(middle - half), 0), whole(middle + half)
    taken[y0:y1, x0:x1] = 8


def _first_hit(start: Points, target: Points, residue: NDArray[np.bool_]) -> Points:
    """Return where the way from `start` to `target` meets the patch around `target`, or `target`."""
    steps = target + (start - target) * np.linspace(0, 1, 200)[:, None]
    x, y = np.clip(whole(steps), 0, np.array(residue.shape)[::-1] - 1).T
    outside = np.flatnonzero(~residue[y, x])
    tip: Points = steps[outside[0]] if len(outside) else target
    return tip


def _clear_of_plate(middle: Points, half: Points, tip: Points, target: Points, least: float) -> Points:
    """Return `tip`, moved on where the arrow from under the plate to it would be shorter than `least`."""
    way = target - middle
    distance = max(float(np.linalg.norm(way)), 1e-9)
    covered = float(np.min(half / np.maximum(np.abs(way / distance), 1e-9)))
    length = max(float(np.linalg.norm(tip - middle)), covered + least)
    moved: Points = middle + way / distance * min(length, max(distance, covered + 0.6 * least))
    return moved


def _arrow(mat: NDArray[np.uint8], start: Points, tip: Points, unit: float) -> None:
    way = (tip - start) / max(float(np.linalg.norm(tip - start)), 1e-9)
    side = np.array([-way[1], way[0]])
    back = tip - way * 13 * unit
    for colour, grow in ((PAPER, 1.6), (SIGNAL, 0.0)):
        g = grow * unit
        _line(mat, start, back, colour, 3.4 * unit + 2 * g)
        head = np.array([tip + way * g, back - way * g + side * (7 * unit + g), back - way * g - side * (7 * unit + g)])
        cv2.fillPoly(mat, [whole(head)], colour, cv2.LINE_AA)


def _plate(mat: NDArray[np.uint8], middle: Points, half: Points, fill: Colour, edge: Colour, unit: float) -> None:
    """Draw a plate with rounded ends under lettering."""
    radius = float(half[1])
    reach = np.array([max(float(half[0]) - radius, 0.0), 0.0])
    for colour, shrink in ((edge, 0.0), (fill, 1.6 * unit)):
        _line(mat, middle - reach, middle + reach, colour, 2 * (radius - shrink))


def _line(mat: NDArray[np.uint8], start: Points, end: Points, colour: Colour, width: float) -> None:
    (x0, y0), (x1, y1) = whole(start).tolist(), whole(end).tolist()
    cv2.line(mat, (x0, y0), (x1, y1), colour, max(1, round(width)), cv2.LINE_AA)


def _letters(mat: NDArray[np.uint8], middle: Points, text: str, kind: Type, ink: Colour) -> None:
    half_w, half_h = int(kind.width(text) / 2 + 3), int(kind.size)
    x, y = whole(middle)
    x0, y0 = max(x - half_w, 0), max(y - half_h, 0)
    box = np.s_[y0 : y + half_h, x0 : x + half_w]
    part = Image.fromarray(mat[box])
    write(ImageDraw.Draw(part), (x - x0, y - y0), text, kind, ink, anchor="mm")
    mat[box] = np.asarray(part)
