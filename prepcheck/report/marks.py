"""What is drawn over the photo: hatches, outlines, the joint line; numbers and arrow are in `prepcheck.report.tags`."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.record import JointRecord, Record
from prepcheck.report.hatch import HATCHES, PAPER, hatch
from prepcheck.report.tags import PatchWords, draw_labels
from prepcheck.report.view import INK, Points, View, whole
from prepcheck.report.words import judged, patch_words, person_spots
from prepcheck.surface import showing
from prepcheck.terms import RESIDUE, State


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
    used = draw_hatches(mat[y : y + h, x : x + w], full[y : y + h, x : x + w], view.unit)
    for spot in record.spots:
        solid(mat, view.place(spot.outline), view.unit)
    for spot in person_spots(record):
        _dashed(mat, view.place(spot.outline), view.unit)
    if record.joint is not None:
        _draw_joint(mat, view, record.joint)
    draw_labels(mat, view, record, inside, showing(full, RESIDUE), patch_label)
    return used


def _filled(size: tuple[int, ...], outlines: list[Points]) -> NDArray[np.bool_]:
    mask = np.zeros(size, np.uint8)
    for outline in outlines:
        if len(outline) >= 3:
            cv2.fillPoly(mask, [whole(outline)], 1)
    return mask.astype(bool)


def _on_mat(states: NDArray[np.uint8], view: View, size: tuple[int, ...]) -> NDArray[np.uint8]:
    full = np.zeros(size, np.uint8)
    box = np.s_[view.top : view.top + view.height, view.left : view.left + view.width]
    full[box] = cv2.resize(states, (view.width, view.height), interpolation=cv2.INTER_NEAREST)
    return full


def draw_hatches(mat: NDArray[np.uint8], full: NDArray[np.uint8], unit: float) -> set[State]:
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


def solid(mat: NDArray[np.uint8], outline: Points, unit: float) -> None:
    """Draw an outline of the tool."""
    for colour, width in ((PAPER, 3.6), (INK, 1.6)):
        cv2.polylines(mat, [whole(outline)], True, colour, max(1, round(width * unit)), cv2.LINE_AA)


def _draw_joint(mat: NDArray[np.uint8], view: View, joint: JointRecord) -> None:
    """Draw the joint line, with a bar across each end, between thin edges of the margin on each side."""
    for side in joint.sides:
        for colour, width in ((PAPER, 2.2), (INK, 0.8)):
            edge = [whole(view.place(side.outline))]
            cv2.polylines(mat, edge, True, colour, max(1, round(width * view.unit)), cv2.LINE_AA)
    line = view.place(joint.line)
    ends = [_bar(line[end], line[beside], 9 * view.unit) for end, beside in ((0, 1), (-1, -2))]
    for colour, width in ((PAPER, 6.4), (INK, 3.6), (PAPER, 1.0)):
        cv2.polylines(mat, [whole(line), *ends], False, colour, max(1, round(width * view.unit)), cv2.LINE_AA)


def _bar(end: Points, beside: Points, half: float) -> NDArray[np.int32]:
    way = (end - beside) / max(float(np.linalg.norm(end - beside)), 1e-9)
    across = np.array([-way[1], way[0]]) * half
    return whole(np.array([end - across, end + across]))


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
            cv2.polylines(mat, [whole(dash)], False, colour, max(1, round(width * unit)), cv2.LINE_AA)
