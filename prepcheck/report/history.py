"""The history of a spot as a picture: a strip of its passes, all in one frame, and a chart of the bright share.

Draws what was told in each pass; never computes a score.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from prepcheck.errors import WrongUse
from prepcheck.photo.photo import enlargement
from prepcheck.report import panels
from prepcheck.report.hatch import PAPER
from prepcheck.report.history_chart import EMPTY, UNIT, chart_raster
from prepcheck.report.lettering import Colour, Type, write
from prepcheck.report.marks import draw_hatches, solid
from prepcheck.report.pass_picture import Matrix, PassPicture, Points, Raster
from prepcheck.report.view import INK, SIGNAL
from prepcheck.report.words import score_words
from prepcheck.terms import CAUTION_LINE, FLAGS, HOT_WORK_LINE, Standing, State

MOST_PASSES = 24
"""More are not drawn: the oldest are left out, and the picture says so."""
_ACROSS = {False: 360, True: 780}
"""Units: pixels of a narrow phone, on which no letter is smaller than 12; of a sheet of paper."""
_COLUMNS = {False: 2, True: 4}
_GAP, _CAPTION, _AROUND = 8.0, 56.0, 0.18


def draw_history(
    passes: Sequence[PassPicture],
    *,
    title: str = "",
    persisting: Sequence[tuple[Points, str]] = (),
    wide: bool = False,
) -> Raster:
    """Draw the passes of a spot and the chart of its bright share.

    Parameters
    ----------
    passes : sequence of PassPicture
        Oldest first, at least one.
    title : str
        Job and spot as they shall be read.
    persisting : sequence of (ndarray of shape (n, 2), str)
        Outlines in the latest photo's full-size pixels of residue that persists, with what to say of each.
    wide : bool
        For paper: four passes a row and smaller letters, instead of two for a phone.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8
        W is 720 pixels, 1560 when `wide`.

    Raises
    ------
    WrongUse
        There is no pass to draw.
    """
    if not passes:
        raise WrongUse("a history without passes cannot be drawn", "Log a photo of the spot first")
    width, shown = round(_ACROSS[wide] * UNIT), passes[-MOST_PASSES:]
    left_out = len(passes) - len(shown)
    head = [panels.Line(f"{_count(len(passes), 'pass', 'passes')}, oldest first", 13.0, title, 3)]
    head += [panels.Line(f"The oldest {left_out} are not drawn.", 12.0)] if left_out else []
    strip, used = _strip(shown, [outline for outline, _ in persisting], width, _COLUMNS[wide])
    parts = [
        panels.paragraphs(head, width, UNIT, panels.SHADE),
        _deep_panel([words for _, words in persisting], width) if persisting else None,
        strip,
        panels.legend(used, False, width, UNIT),
        chart_raster(shown, width),
        panels.paragraphs([panels.Line(CAUTION_LINE, 12.0), panels.Line(HOT_WORK_LINE, 12.0)], width, UNIT),
    ]
    return np.vstack([part for part in parts if part is not None])


def _deep_panel(told: Sequence[str], width: int) -> Raster:
    card = FLAGS["residue_may_go_deep"]
    lines = [panels.Line(card.action, 14.0, f"! {card.name}")]
    lines += [panels.Line(words, 13.0, most=2) for words in told[:6]]
    if len(told) > 6:
        lines.append(panels.Line(f"and {len(told) - 6} more places", 13.0))
    return panels.paragraphs([*lines, panels.Line(card.why, 12.0)], width, UNIT, PAPER)


def _strip(
    passes: Sequence[PassPicture], deep: Sequence[Points], width: int, columns: int
) -> tuple[Raster, set[State]]:
    """Lay the passes out in rows of `columns`; returns the strip and the states hatched in it."""
    gap, used = _GAP * UNIT, set[State]()
    columns = min(columns, max(2, len(passes)))
    side = int((width - (columns + 1) * gap) / columns)
    rows = -(-len(passes) // columns)
    height = round(side + _CAPTION * UNIT)
    sheet = np.full((round(rows * (height + gap) + gap), width, 3), PAPER, np.uint8)
    for k, one in enumerate(passes):
        x, y = round(gap + (k % columns) * (side + gap)), round(gap + (k // columns) * (height + gap))
        tile, hatched = _tile(one, passes[-1], deep if one is passes[-1] else (), side)
        sheet[y : y + side, x : x + side] = tile
        sheet[y + side : y + height, x : x + side] = _caption(one, side, height - side)
        used |= hatched
    return sheet, used


def _tile(one: PassPicture, latest: PassPicture, deep: Sequence[Points], side: int) -> tuple[Raster, set[State]]:
    """Draw one pass, `side` pixels square, in the frame of the latest one, or in its own when not aligned."""
    frame = latest if one.to_latest is not None else one
    to_tile = _to_square(frame.outline, side) @ (np.eye(3) if one.to_latest is None else one.to_latest)
    tile = _warped(one.rgb, one.size, to_tile, side, cv2.INTER_LINEAR, EMPTY)
    used = set[State]()
    outline = _placed(one.outline, to_tile)
    if one.states is not None and one.standing is not Standing.RETAKE:
        states = _warped(one.states, one.size, to_tile, side, cv2.INTER_NEAREST, (0, 0, 0))
        states[_filled(outline, side) == 0] = State.BACKGROUND
        used = draw_hatches(tile, states, UNIT)
    solid(tile, outline.astype(np.float64), UNIT)
    for place in deep:
        _ring(tile, _placed(place, to_tile))
    return tile, used


def _ring(tile: Raster, outline: NDArray[np.int32]) -> None:
    """Draw a ring around a place, clear of it."""
    (x, y), radius = cv2.minEnclosingCircle(outline)
    for colour, thick in ((PAPER, 4.4), (SIGNAL, 2.2)):
        middle, reach = (round(x), round(y)), round(radius + 6 * UNIT)
        cv2.circle(tile, middle, reach, colour, round(thick * UNIT), cv2.LINE_AA)


def _to_square(outline: Points, side: int) -> Matrix:
    """Map the box around `outline`, with room around it, into a square of `side` pixels."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    scale = side / max(float((high - low).max()) * (1 + 2 * _AROUND), 1.0)
    shift = (side - 1) / 2 - scale * (low + high) / 2
    return np.array([[scale, 0, shift[0]], [0, scale, shift[1]], [0, 0, 1.0]])


def _warped(plane: Raster, size: tuple[int, int], to_tile: Matrix, side: int, how: int, empty: Colour) -> Raster:
    """Warp a plane that shows the whole photo of full `size`; first reduced by areas where it would be thinned out."""
    middle = np.array([size[0] / 2, size[1] / 2, 1.0])
    third = float(to_tile[2] @ middle)
    scale = np.sqrt(abs(float(np.linalg.det(to_tile)))) / max(abs(third) ** 1.5, 1e-12)
    fit = scale * size[0] / plane.shape[1]
    if how != cv2.INTER_NEAREST and fit < 0.7:
        small = tuple(max(1, round(length * fit)) for length in plane.shape[1::-1])
        plane = np.asarray(cv2.resize(plane, small, interpolation=cv2.INTER_AREA), np.uint8)
    to_full = enlargement(size[0] / plane.shape[1], size[1] / plane.shape[0])
    warped = cv2.warpPerspective(plane, to_tile @ to_full, (side, side), flags=how, borderValue=empty)
    return np.asarray(warped, np.uint8)


def _placed(points: Points, matrix: Matrix) -> NDArray[np.int32]:
    placed = cv2.perspectiveTransform(np.asarray(points, np.float64)[None], matrix)[0]
    return np.asarray(np.rint(np.clip(np.nan_to_num(placed), -16_000, 16_000)), np.int32)


def _filled(outline: NDArray[np.int32], side: int) -> Raster:
    return np.asarray(cv2.fillPoly(np.zeros((side, side), np.uint8), [outline], 1), np.uint8)


def _caption(one: PassPicture, width: int, height: int) -> Raster:
    sheet = Image.new("RGB", (width, height), PAPER)
    draw, y = ImageDraw.Draw(sheet), 2 * UNIT
    small = " · ".join(part for part in (one.when, "" if one.to_latest is not None else "own frame") if part)
    lines = [(f"pass {one.pass_no}: {one.standing}", 13.5, True), (_told(one), 13.0, False), (small, 12.0, False)]
    for text, size, bold in lines:
        kind = Type(size * UNIT, bold=bold).shrunk(text, width)
        write(draw, (0, y), text, kind, INK)
        y += Type(size * UNIT).line
    return np.array(sheet)


def _told(one: PassPicture) -> str:
    return "not fit to judge" if one.standing is Standing.RETAKE else score_words(one.bright_share, one.interval)


def _count(number: int, singular: str, plural: str) -> str:
    return f"{number} {singular if number == 1 else plural}"
