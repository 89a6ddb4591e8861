"""The history of a spot as a picture: a strip of its passes, all in one frame, and a chart of the bright share.

Draws what was told in each pass; never computes a score.
"""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from prepcheck.errors import WrongUse
from prepcheck.photo.photo import enlargement
from prepcheck.record import Interval
from prepcheck.report import panels
from prepcheck.report.hatch import HATCHES, PAPER, hatch
from prepcheck.report.lettering import Colour, Type, write
from prepcheck.report.marks import INK, SIGNAL
from prepcheck.report.words import score_words
from prepcheck.terms import CAUTION_LINE, FLAGS, HOT_WORK_LINE, RESIDUE, Standing, State

Raster = NDArray[np.uint8]
Matrix = NDArray[np.float64]
Points = NDArray[np.float64]
MOST_PASSES = 24
"""More are not drawn: the oldest are left out, and the picture says so."""
_UNIT = 2.0
_ACROSS = {False: 390, True: 780}
_COLUMNS = {False: 2, True: 4}
_GAP, _CAPTION, _AROUND = 8.0, 56.0, 0.18
_CHART = (176.0, 46.0, 24.0, 40.0)
_EMPTY: Colour = (206, 210, 214)


@dataclass(frozen=True, eq=False)
class PassPicture:
    """What one pass showed.

    Parameters
    ----------
    pass_no : int
        Number of the pass.
    rgb : ndarray, shape (h, w, 3), uint8
        Its photo at any reduction.
    states : ndarray, shape (h2, w2), uint8, or None
        Codes of `prepcheck.terms.State` for the whole photo at any reduction.
    size : (int, int)
        Full width and height of the photo.
    to_latest : ndarray, shape (3, 3), or None
        Homography from its full-size pixels to those of the latest pass; None when not aligned: then it is shown in its
        own frame, and the caption says so.
    outline : ndarray, shape (n, 2)
        Outline of the spot in its own full-size pixels.
    standing, bright_share, interval
        What was told of the spot.
    when : str
        Date as it shall be read; may be empty.
    """

    pass_no: int
    rgb: Raster = field(repr=False)
    states: Raster | None = field(repr=False)
    size: tuple[int, int]
    to_latest: Matrix | None = field(repr=False)
    outline: Points = field(repr=False)
    standing: Standing
    bright_share: float | None
    interval: Interval | None
    when: str = ""


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
        W is 780 pixels, 1560 when `wide`.

    Raises
    ------
    WrongUse
        There is no pass to draw.
    """
    if not passes:
        raise WrongUse("a history without passes cannot be drawn", "Log a photo of the spot first")
    width, shown = round(_ACROSS[wide] * _UNIT), passes[-MOST_PASSES:]
    left_out = len(passes) - len(shown)
    head = [panels.Line(f"{_count(len(passes), 'pass', 'passes')}, oldest first", 13.0, title, 3)]
    head += [panels.Line(f"The oldest {left_out} are not drawn.", 12.0)] if left_out else []
    strip, used = _strip(shown, [outline for outline, _ in persisting], width, _COLUMNS[wide])
    parts = [
        panels.paragraphs(head, width, _UNIT, panels.SHADE),
        _deep_panel([words for _, words in persisting], width) if persisting else None,
        strip,
        panels.legend(used, False, width, _UNIT),
        _chart_raster(shown, width),
        panels.paragraphs([panels.Line(CAUTION_LINE, 11.0), panels.Line(HOT_WORK_LINE, 11.0)], width, _UNIT),
    ]
    return np.vstack([part for part in parts if part is not None])


def chart_svg(passes: Sequence[PassPicture], width: int = 780) -> str:
    """Return the chart of the bright share over the passes as an SVG file that needs nothing else."""
    height, marks = _chart(passes, width / _UNIT)
    size = f'width="{width}" height="{height * _UNIT:g}" viewBox="0 0 {width / _UNIT:g} {height:g}"'
    drawn = "\n".join(mark.svg() for mark in marks)
    label = "<title>Bright share of a spot over its grinding passes, with intervals</title>"
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="sans-serif">\n{label}\n{drawn}\n</svg>\n'


def _deep_panel(told: Sequence[str], width: int) -> Raster:
    card = FLAGS["residue_may_go_deep"]
    lines = [panels.Line(card.action, 14.0, f"! {card.name}")]
    lines += [panels.Line(words, 13.0, most=2) for words in told[:6]]
    if len(told) > 6:
        lines.append(panels.Line(f"and {len(told) - 6} more places", 13.0))
    return panels.paragraphs([*lines, panels.Line(card.why, 12.0)], width, _UNIT, PAPER)


def _strip(
    passes: Sequence[PassPicture], deep: Sequence[Points], width: int, columns: int
) -> tuple[Raster, set[State]]:
    """Lay the passes out in rows of `columns`; returns the strip and the states hatched in it."""
    gap, used = _GAP * _UNIT, set[State]()
    columns = min(columns, max(2, len(passes)))
    side = int((width - (columns + 1) * gap) / columns)
    rows = -(-len(passes) // columns)
    height = round(side + _CAPTION * _UNIT)
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
    tile = _warped(one.rgb, one.size, to_tile, side, cv2.INTER_LINEAR, _EMPTY)
    used = set[State]()
    outline = _placed(one.outline, to_tile)
    if one.states is not None and one.standing is not Standing.RETAKE:
        states = _warped(one.states, one.size, to_tile, side, cv2.INTER_NEAREST, (0, 0, 0))
        states[_filled(outline, side) == 0] = State.BACKGROUND
        used = _hatched(tile, states)
    for colour, thick in ((PAPER, 3.6), (INK, 1.6)):
        cv2.polylines(tile, [outline], True, colour, round(thick * _UNIT), cv2.LINE_AA)
    for place in deep:
        _ring(tile, _placed(place, to_tile))
    return tile, used


def _ring(tile: Raster, outline: NDArray[np.int32]) -> None:
    """Draw a ring around a place, clear of it."""
    (x, y), radius = cv2.minEnclosingCircle(outline)
    for colour, thick in ((PAPER, 4.4), (SIGNAL, 2.2)):
        middle, reach = (round(x), round(y)), round(radius + 6 * _UNIT)
        cv2.circle(tile, middle, reach, colour, round(thick * _UNIT), cv2.LINE_AA)


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


def _hatched(tile: Raster, states: Raster) -> set[State]:
    """Hatch the states in `tile`, in place, residue with an edge, as in the picture of one photo."""
    masks = {state: states == state for state in HATCHES if (states == state).any()}
    edges = {s: cv2.findContours(m.astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)[0] for s, m in masks.items()}
    for state, mask in masks.items():
        cv2.polylines(tile, edges[state], True, PAPER, round((2.6 if state in RESIDUE else 1.2) * _UNIT))
        hatch(tile, mask, state, _UNIT)
    for state in masks.keys() & set(RESIDUE):
        cv2.polylines(tile, edges[state], True, HATCHES[state].ink, round(_UNIT))
    return set(masks)


def _caption(one: PassPicture, width: int, height: int) -> Raster:
    sheet = Image.new("RGB", (width, height), PAPER)
    draw, y = ImageDraw.Draw(sheet), 2 * _UNIT
    small = " · ".join(part for part in (one.when, "" if one.to_latest is not None else "own frame") if part)
    lines = [(f"{one.pass_no}: {one.standing}", 13.5, True), (_told(one), 13.0, False), (small, 11.0, False)]
    for text, size, bold in lines:
        kind = Type(size * _UNIT, bold=bold).shrunk(text, width)
        write(draw, (0, y), text, kind, INK)
        y += Type(size * _UNIT).line
    return np.array(sheet)


def _told(one: PassPicture) -> str:
    return "not fit to judge" if one.standing is Standing.RETAKE else score_words(one.bright_share, one.interval)


def _count(number: int, singular: str, plural: str) -> str:
    return f"{number} {singular if number == 1 else plural}"


@dataclass(frozen=True)
class _Mark:
    """A stroke (a polyline) or a text of the chart, in units."""

    points: tuple[tuple[float, float], ...]
    thick: float = 1.0
    ink: Colour = INK
    text: str = ""
    size: float = 12.0
    anchor: str = "mm"

    def svg(self) -> str:
        """Return the mark as an SVG element."""
        colour = "#{:02x}{:02x}{:02x}".format(*self.ink)
        if self.text:
            (x, y) = self.points[0]
            side = {"l": "start", "m": "middle", "r": "end"}[self.anchor[0]]
            at = f'x="{x:.1f}" y="{y + 0.35 * self.size:.1f}" font-size="{self.size:g}" text-anchor="{side}"'
            return f'<text {at} fill="{colour}">{html.escape(self.text)}</text>'
        places = " ".join(f"{x:.1f},{y:.1f}" for x, y in self.points)
        stroke = f'stroke="{colour}" stroke-width="{self.thick:g}" stroke-linecap="round"'
        return f'<polyline points="{places}" fill="none" {stroke}/>'

    def paint(self, draw: ImageDraw.ImageDraw) -> None:
        """Draw the mark on a picture with `_UNIT` pixels a unit."""
        places = [(x * _UNIT, y * _UNIT) for x, y in self.points]
        if self.text:
            write(draw, places[0], self.text, Type(self.size * _UNIT), self.ink, self.anchor)
            return
        draw.line(places, fill=self.ink, width=round(self.thick * _UNIT), joint="curve")
        for x, y in (places[0], places[-1]):
            r = self.thick * _UNIT / 2
            draw.ellipse((x - r, y - r, x + r, y + r), fill=self.ink)


def _chart_raster(passes: Sequence[PassPicture], width: int) -> Raster:
    height, marks = _chart(passes, width / _UNIT)
    sheet = Image.new("RGB", (width, round(height * _UNIT)), PAPER)
    for mark in marks:
        mark.paint(ImageDraw.Draw(sheet))
    return np.array(sheet)


def _chart(passes: Sequence[PassPicture], width: float) -> tuple[float, list[_Mark]]:
    """Lay out the chart, `width` units wide; returns its height and its marks.

    A pass whose photo is not fit to judge, or that told nothing, has a ``?`` and no line leads through it.
    """
    plot, left, top, below = _CHART
    right = width - 16.0
    step = (right - left) / len(passes)
    marks = [_Mark(((left - 34, 11),), text="score (100 x bright share) with its 95% interval", anchor="lm")]
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        y = top + plot * (1 - share)
        marks += [
            _Mark(((left, y), (right, y)), 0.5, _EMPTY),
            _Mark(((left - 6, y),), text=f"{100 * share:.0f}", anchor="rm"),
        ]
    last: tuple[float, float] | None = None
    for k, one in enumerate(passes):
        x = left + (k + 0.5) * step
        if len(passes) <= 12 or k % 2 == 0:
            marks.append(_Mark(((x, top + plot + 13),), text=str(one.pass_no)))
        at, drawn = _bar(one, x, min(7.0, 0.25 * step), lambda share: top + plot * (1 - share))
        marks += [_Mark((last, at), 1.2, INK)] if last and at else []
        marks += drawn
        last = at
    marks.append(_Mark((((left + right) / 2, top + plot + 29),), text="grinding pass"))
    return top + plot + below, marks


def _bar(
    one: PassPicture, x: float, half: float, up: Callable[[float], float]
) -> tuple[tuple[float, float] | None, list[_Mark]]:
    """Return where a pass lies in the chart and its dot with the bar of its interval; None and a ``?`` when not told."""
    if one.bright_share is None or one.standing is Standing.RETAKE:
        return None, [_Mark(((x, up(0.5)),), text="?", size=20.0)]
    at = (x, up(one.bright_share))
    dot = _Mark((at, at), 1.3 * half)
    if one.interval is None:
        return at, [dot]
    low, high = (up(share) for share in one.interval)
    ends = [_Mark(((x - half, y), (x + half, y)), 1.6) for y in (low, high)]
    return at, [_Mark(((x, low), (x, high)), 1.6), *ends, dot]
