"""What is drawn over the photo: hatches, outlines, numbers, and the arrow to the worst patch."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from prepcheck.record import JointRecord, PatchRecord, Record, SpotRecord
from prepcheck.report.hatch import HATCHES, PAPER, hatch
from prepcheck.report.lettering import Colour, Type, shown, write
from prepcheck.report.words import judged, patch_words, person_spots, pointed_at
from prepcheck.surface import showing
from prepcheck.terms import RESIDUE, Standing, State

Points = NDArray[np.float64]
INK: Colour = (22, 28, 38)
SIGNAL: Colour = (196, 62, 12)
TAG_COLOURS: dict[Standing, tuple[Colour, Colour]] = {
    Standing.RESIDUE_LEFT: (SIGNAL, PAPER),
    Standing.CANNOT_TELL: (INK, PAPER),
    Standing.RETAKE: (INK, PAPER),
    Standing.BRIGHT: (PAPER, INK),
}
"""Fill and lettering of a spot's number."""


_FAR = 16_000


@dataclass(frozen=True)
class View:
    """Where the photo lies on its mat.

    Parameters
    ----------
    left, top : int
        Position of the photo's first pixel on the mat.
    width, height : int
        Drawn size of the photo in pixels.
    scale : tuple of float
        Drawn pixels per full-size pixel, along x and y.
    unit : float
        Drawn pixels per pixel of a phone's screen 390 px wide: all strokes and letters are multiples of it.
    """

    left: int
    top: int
    width: int
    height: int
    scale: tuple[float, float]
    unit: float

    def place(self, points: list[tuple[float, float]]) -> Points:
        """Turn full-size positions into positions on the mat, shape (n, 2); far ones are moved nearer."""
        drawn = (np.asarray(points, np.float64).reshape(-1, 2) + 0.5) * self.scale - 0.5
        moved: Points = np.clip(drawn + np.array([self.left, self.top]), -_FAR, _FAR)
        return moved


PatchWords = Callable[[PatchRecord], str]


def draw_marks(
    mat: NDArray[np.uint8],
    view: View,
    record: Record,
    states: NDArray[np.uint8] | None,
    patch_label: PatchWords = patch_words,
) -> set[State]:
    """Draw all marks of `record` on `mat`, in place; return the states that were hatched.

    Spots of a photo to retake get an outline and a number only: what was mapped there means nothing. `patch_label` says
    what stands at the arrow to the worst patch.
    """
    spots = [*record.spots, *person_spots(record)]
    inside = _filled(mat.shape[:2], [view.place(spot.outline) for spot in spots])
    read = _filled(mat.shape[:2], [view.place(spot.outline) for spot in judged(spots)])
    full = _on_mat(states, view, mat.shape[:2]) if states is not None else np.zeros(mat.shape[:2], np.uint8)
    full[~read] = State.BACKGROUND
    x, y, w, h = cv2.boundingRect(full)
    used = _draw_hatches(mat[y : y + h, x : x + w], full[y : y + h, x : x + w], view.unit)
    for spot in record.spots:
        _solid(mat, view.place(spot.outline), view.unit)
    for spot in person_spots(record):
        _dashed(mat, view.place(spot.outline), view.unit)
    if record.joint is not None:
        _draw_joint(mat, view, record.joint)
    _draw_labels(mat, view, record, inside, showing(full, RESIDUE), patch_label)
    return used


def _filled(size: tuple[int, ...], outlines: list[Points]) -> NDArray[np.bool_]:
    mask = np.zeros(size, np.uint8)
    for outline in outlines:
        if len(outline) >= 3:
            cv2.fillPoly(mask, [_whole(outline)], 1)
    return mask.astype(bool)


def _on_mat(states: NDArray[np.uint8], view: View, size: tuple[int, ...]) -> NDArray[np.uint8]:
    full = np.zeros(size, np.uint8)
    box = np.s_[view.top : view.top + view.height, view.left : view.left + view.width]
    full[box] = cv2.resize(states, (view.width, view.height), interpolation=cv2.INTER_NEAREST)
    return full


def _draw_hatches(mat: NDArray[np.uint8], full: NDArray[np.uint8], unit: float) -> set[State]:
    """Draw each state's hatch, with an edge so that places smaller than the pattern show too."""
    masks = {state: full == state for state in HATCHES}
    edges = {state: _edges(mask) for state, mask in masks.items() if mask.any()}
    for state in edges:
        cv2.polylines(mat, edges[state], True, PAPER, max(1, round((2.6 if state in RESIDUE else 1.2) * unit)))
    for state in edges:
        hatch(mat, masks[state], state, unit)
    for state in edges.keys() & set(RESIDUE):
        cv2.polylines(mat, edges[state], True, HATCHES[state].ink, max(1, round(unit)))
    return set(edges)


def _edges(mask: NDArray[np.bool_]) -> Sequence[NDArray[np.int32]]:
    found, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    return found  # type: ignore[return-value]


def _solid(mat: NDArray[np.uint8], outline: Points, unit: float) -> None:
    """Draw an outline of the tool."""
    for colour, width in ((PAPER, 3.6), (INK, 1.6)):
        cv2.polylines(mat, [_whole(outline)], True, colour, max(1, round(width * unit)), cv2.LINE_AA)


def _draw_joint(mat: NDArray[np.uint8], view: View, joint: JointRecord) -> None:
    """Draw the joint line, with a bar across each end, between thin edges of the margin on each side."""
    for side in joint.sides:
        for colour, width in ((PAPER, 2.2), (INK, 0.8)):
            edge = [_whole(view.place(side.outline))]
            cv2.polylines(mat, edge, True, colour, max(1, round(width * view.unit)), cv2.LINE_AA)
    line = view.place(joint.line)
    ends = [_bar(line[end], line[beside], 9 * view.unit) for end, beside in ((0, 1), (-1, -2))]
    for colour, width in ((PAPER, 6.4), (INK, 3.6), (PAPER, 1.0)):
        cv2.polylines(mat, [_whole(line), *ends], False, colour, max(1, round(width * view.unit)), cv2.LINE_AA)


def _bar(end: Points, beside: Points, half: float) -> NDArray[np.int32]:
    way = (end - beside) / max(float(np.linalg.norm(end - beside)), 1e-9)
    across = np.array([-way[1], way[0]]) * half
    return _whole(np.array([end - across, end + across]))


def _dashed(mat: NDArray[np.uint8], outline: Points, unit: float) -> None:
    """Draw an outline of a person."""
    if len(outline) < 2:
        return
    closed = np.vstack([outline, outline[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    starts = np.arange(0.0, along[-1], 14 * unit)
    for colour, width in ((PAPER, 4.4), (INK, 2.2)):
        for start in starts:
            steps = np.linspace(start, min(start + 8 * unit, along[-1]), 5)
            dash = np.column_stack([np.interp(steps, along, closed[:, k]) for k in (0, 1)])
            cv2.polylines(mat, [_whole(dash)], False, colour, max(1, round(width * unit)), cv2.LINE_AA)


def _draw_labels(
    mat: NDArray[np.uint8],
    view: View,
    record: Record,
    inside: NDArray[np.bool_],
    residue: NDArray[np.bool_],
    patch_label: PatchWords,
) -> None:
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
    low = np.clip(_whole(middles - half), 0, None)
    high = np.minimum(_whole(middles + half) + 1, [taken.shape[1], taken.shape[0]])
    x0, y0, x1, y1 = low[:, 0], low[:, 1], high[:, 0], high[:, 1]
    hidden = (total[y1, x1] - total[y0, x1] - total[y1, x0] + total[y0, x0]) / (4 * half.prod())
    distance = np.linalg.norm(middles - near, axis=1) / max(taken.shape)
    best: Points = middles[int(np.argmin(hidden + distance))]
    return best


def _take(taken: NDArray[np.int32], middle: Points, half: Points) -> None:
    (x0, y0), (x1, y1) = np.maximum(_whole(middle - half), 0), _whole(middle + half)
    taken[y0:y1, x0:x1] = 8


def _first_hit(start: Points, target: Points, residue: NDArray[np.bool_]) -> Points:
    """Return where the way from `start` to `target` meets the patch around `target`, or `target`."""
    steps = target + (start - target) * np.linspace(0, 1, 200)[:, None]
    x, y = np.clip(_whole(steps), 0, np.array(residue.shape)[::-1] - 1).T
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
        cv2.fillPoly(mat, [_whole(head)], colour, cv2.LINE_AA)


def _plate(mat: NDArray[np.uint8], middle: Points, half: Points, fill: Colour, edge: Colour, unit: float) -> None:
    """Draw a plate with rounded ends under lettering."""
    radius = float(half[1])
    reach = np.array([max(float(half[0]) - radius, 0.0), 0.0])
    for colour, shrink in ((edge, 0.0), (fill, 1.6 * unit)):
        _line(mat, middle - reach, middle + reach, colour, 2 * (radius - shrink))


def _line(mat: NDArray[np.uint8], start: Points, end: Points, colour: Colour, width: float) -> None:
    (x0, y0), (x1, y1) = _whole(start).tolist(), _whole(end).tolist()
    cv2.line(mat, (x0, y0), (x1, y1), colour, max(1, round(width)), cv2.LINE_AA)


def _letters(mat: NDArray[np.uint8], middle: Points, text: str, kind: Type, ink: Colour) -> None:
    half_w, half_h = int(kind.width(text) / 2 + 3), int(kind.size)
    x, y = _whole(middle)
    x0, y0 = max(x - half_w, 0), max(y - half_h, 0)
    box = np.s_[y0 : y + half_h, x0 : x + half_w]
    part = Image.fromarray(mat[box])
    write(ImageDraw.Draw(part), (x - x0, y - y0), text, kind, ink, anchor="mm")
    mat[box] = np.asarray(part)


def _whole(points: Points) -> NDArray[np.int32]:
    return np.asarray(np.rint(points), np.int32)
