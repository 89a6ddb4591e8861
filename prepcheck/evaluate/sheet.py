"""The contact sheet: the photos that came out worst, each with its truth, its map, and what went wrong."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from prepcheck.terms import State

Raster = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Colour = tuple[int, int, int]

PANEL = (320, 240)
"""Room for one picture, width and height in pixels."""

_PANELS, _GAP, _TEXT = 6, 12, 58
_INK, _GREY, _PAPER, _FRAME = (24, 26, 28), (96, 100, 104), (255, 255, 255), (0, 150, 90)
COLOURS: dict[State, Colour] = {
    State.BACKGROUND: (88, 94, 100),
    State.BRIGHT: (236, 238, 240),
    State.OXIDE: (214, 84, 20),
    State.PIT: (12, 12, 12),
    State.COATING: (50, 104, 186),
    State.FOREIGN: (146, 62, 160),
    State.CANNOT_TELL: (246, 208, 72),
}
_PALETTE = np.zeros((256, 3), np.uint8)
for _state, _colour in COLOURS.items():
    _PALETTE[_state] = _colour


@dataclass(frozen=True)
class Cell:
    """One photo on the sheet: up to three panels (JPEG bytes) below up to three lines."""

    lines: tuple[str, ...]
    panels: tuple[bytes, ...] = field(repr=False)


def picture_panel(rgb: Raster) -> bytes:
    """Reduce a photo, shape (h, w, 3), to a panel; JPEG bytes."""
    return _jpeg(np.asarray(cv2.resize(rgb, _fitting(rgb.shape), interpolation=cv2.INTER_AREA), np.uint8))


def map_panel(states: Raster, area: Mask, under: Raster | None = None) -> bytes:
    """Paint state codes, shape (h, w), in flat colours, with the outline of `area`; JPEG bytes.

    Where `under`, a photo, is given, it shows paled through what is not labelled.
    """
    size = _fitting(states.shape)
    codes = cv2.resize(states, size, interpolation=cv2.INTER_NEAREST_EXACT)
    painted = _PALETTE[codes]
    if under is not None:
        painted = np.where((codes == State.CANNOT_TELL)[..., None], _paled(under, size), painted)
    inside = cv2.resize(area.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST_EXACT)
    outlines, _ = cv2.findContours(inside, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    cv2.drawContours(painted, outlines, -1, _FRAME, 2)
    return _jpeg(painted)


def points_panel(rgb: Raster, places: NDArray[np.float64], states: Raster) -> bytes:
    """Draw points, shape (n, 2) as (x, y) in pixels of `rgb`, in the colours of their states, on a paled photo."""
    size = _fitting(rgb.shape)
    small = _paled(rgb, size)
    for (x, y), state in zip(places * size[0] / rgb.shape[1], states, strict=True):
        at = (round(float(x)), round(float(y)))
        cv2.circle(small, at, 5, _INK, -1, cv2.LINE_AA)
        cv2.circle(small, at, 4, tuple(int(c) for c in _PALETTE[state]), -1, cv2.LINE_AA)
    return _jpeg(small)


def contact_sheet(shown: Sequence[Cell], title: str) -> bytes:
    """Draw photos with their panels and captions, six panels across; JPEG bytes.

    Parameters
    ----------
    shown : sequence of Cell
        In the order in which they shall be shown; at least one.
    title : str
        One line at the top.
    """
    pictures = [[Image.open(io.BytesIO(panel)) for panel in one.panels] for one in shown]
    height = max(picture.height for row in pictures for picture in row)
    across = max(len(row) for row in pictures)
    size = (across * (PANEL[0] + _GAP), height + _TEXT + _GAP)
    cells = [_cell(one, row, size) for one, row in zip(shown, pictures, strict=True)]
    columns = _PANELS // across
    cells += [np.full_like(cells[0], 255)] * (-len(cells) % columns)
    rows = [np.hstack(cells[i : i + columns]) for i in range(0, len(cells), columns)]
    return _jpeg(np.vstack([_head(title, rows[0].shape[1]), *rows]), 88)


def _cell(one: Cell, pictures: Sequence[Image.Image], size: tuple[int, int]) -> Raster:
    cell = Image.new("RGB", size, _PAPER)
    for k, picture in enumerate(pictures):
        cell.paste(picture, (_GAP // 2 + k * (PANEL[0] + _GAP), _TEXT))
    draw = ImageDraw.Draw(cell)
    for k, line in enumerate(one.lines):
        _write(draw, (_GAP // 2, 2 + 18 * k), line, 14, _INK if k < 2 else _GREY, size[0] - _GAP)
    return np.asarray(cell, np.uint8)


def _head(title: str, width: int) -> Raster:
    head = Image.new("RGB", (width, 64), _PAPER)
    draw = ImageDraw.Draw(head)
    _write(draw, (_GAP, 6), title, 20, _INK, width - 2 * _GAP)
    x = _GAP
    for state, colour in COLOURS.items():
        draw.rectangle((x, 40, x + 18, 54), fill=colour, outline=_INK)
        draw.text((x + 24, 38), state.label, font=_font(14), fill=_INK)
        x += 40 + round(_font(14).getlength(state.label))
    draw.rectangle((x, 40, x + 18, 54), outline=_FRAME, width=2)
    draw.text((x + 24, 38), "outline of the ground spots", font=_font(14), fill=_INK)
    return np.asarray(head, np.uint8)


def _write(draw: ImageDraw.ImageDraw, at: tuple[int, int], text: str, size: int, ink: Colour, width: int) -> None:
    font = _font(size)
    while text and font.getlength(text) > width:
        text = text[:-5].rstrip(" .") + "..." if len(text) > 8 else ""
    draw.text(at, text, font=font, fill=ink)


@lru_cache(maxsize=4)
def _font(size: int) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size)
    assert isinstance(font, ImageFont.FreeTypeFont)
    return font


def _paled(rgb: Raster, size: tuple[int, int]) -> Raster:
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA) // 2 + 90, np.uint8)


def _fitting(shape: tuple[int, ...]) -> tuple[int, int]:
    scale = min(PANEL[0] / shape[1], PANEL[1] / shape[0])
    return max(1, round(shape[1] * scale)), max(1, round(shape[0] * scale))


def _jpeg(rgb: Raster, quality: int = 90) -> bytes:
    data = io.BytesIO()
    Image.fromarray(rgb).save(data, "JPEG", quality=quality, subsampling=0)
    return data.getvalue()
