"""The contact sheet as one picture, for a wall or a message. Computes no score."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from prepcheck.errors import CannotWrite
from prepcheck.report.contact import NOT_READ, Sheet, Shown
from prepcheck.report.contact_thumbnail import ROOM
from prepcheck.report.lettering import Colour, Type, shown, wrapped, write
from prepcheck.report.view import INK, SIGNAL
from prepcheck.terms import CAUTION_LINE, Standing

MOST = 60
"""Photos on the picture; more could not be seen at a glance."""
_ACROSS, _GAP, _WORDS = 6, 14, 104
_PAPER, _SHADE, _SOFT = (255, 255, 255), (226, 229, 233), (70, 78, 90)
_COLOURS: dict[str, tuple[Colour, Colour]] = {
    Standing.RESIDUE_LEFT: (SIGNAL, _PAPER),
    Standing.CANNOT_TELL: ((255, 214, 73), INK),
    Standing.RETAKE: (INK, _PAPER),
    Standing.BRIGHT: ((207, 230, 247), INK),
    NOT_READ: (_PAPER, SIGNAL),
}
"""Fill and lettering of the word above each photo's name."""
_SIGNS = {
    Standing.RESIDUE_LEFT: "!",
    Standing.CANNOT_TELL: "?",
    Standing.RETAKE: "↺",
    Standing.BRIGHT: "○",
    NOT_READ: "×",
}


def contact_picture(sheet: Sheet, photos: Sequence[Shown]) -> NDArray[np.uint8]:
    """Draw up to `MOST` photos with their words, worst first, shape (h, w, 3).

    Raises
    ------
    CannotWrite
        There is no photo to draw.
    """
    if not photos:
        raise CannotWrite("there is no photo for it", "Give a folder with photos", "contact sheet")
    drawn = [_cell(photo) for photo in photos[:MOST]]
    across = min(_ACROSS, len(drawn))
    drawn += [np.full_like(drawn[0], 255)] * (-len(drawn) % across)
    rows = [np.hstack(drawn[k : k + across]) for k in range(0, len(drawn), across)]
    return np.vstack([_head(sheet, len(photos[:MOST]), rows[0].shape[1]), *rows])


def _head(sheet: Sheet, here: int, width: int) -> NDArray[np.uint8]:
    all_of = sum(sheet.counts.values())
    counts = ", ".join(f"{word} {count:,}" for word, count in sheet.counts.items() if count)
    few = "" if here == all_of else f"; the {here} worst are shown"
    lines = [
        *((line, Type(24, bold=True)) for line in wrapped(sheet.title, Type(24, bold=True), width - 2 * _GAP, 2)),
        *((line, Type(18)) for line in wrapped(counts + few, Type(18), width - 2 * _GAP)),
        *((line, Type(15)) for line in wrapped(f"{CAUTION_LINE} {sheet.origin}", Type(15), width - 2 * _GAP)),
    ]
    head = Image.new("RGB", (width, round(sum(kind.line for _, kind in lines)) + 2 * _GAP), _PAPER)
    draw, y = ImageDraw.Draw(head), float(_GAP)
    for line, kind in lines:
        write(draw, (_GAP, y), line, kind, INK)
        y += kind.line
    return np.array(head)


def _cell(photo: Shown) -> NDArray[np.uint8]:
    cell = Image.new("RGB", (ROOM[0] + _GAP, ROOM[1] + _WORDS + _GAP), _PAPER)
    left = _GAP // 2
    draw = ImageDraw.Draw(cell)
    draw.rectangle((left, 0, left + ROOM[0] - 1, ROOM[1] - 1), _SHADE)
    if photo.picture:
        small = Image.open(io.BytesIO(photo.picture))
        cell.paste(small, (left + (ROOM[0] - small.width) // 2, (ROOM[1] - small.height) // 2))
    _label(draw, photo.word, (left, ROOM[1] + 6))
    lines = [*((line, Type(15, bold=True), INK) for line in _fitted(photo.name, Type(15, bold=True), 1))]
    lines += [(line, Type(14), _SOFT) for line in _fitted(". ".join(photo.said), Type(14), 2)]
    for k, (line, kind, ink) in enumerate(lines):
        write(draw, (left, ROOM[1] + 36 + 20 * k), line, kind, ink)
    return np.array(cell)


def _fitted(text: str, kind: Type, most: int) -> list[str]:
    return wrapped(text, kind, ROOM[0], most)


def _label(draw: ImageDraw.ImageDraw, word: str, at: tuple[int, int]) -> None:
    fill, ink = _COLOURS[word]
    text, kind = shown(f"{_SIGNS[word]} {word}"), Type(16, bold=True)
    box = (*at, at[0] + kind.width(text) + 14, at[1] + 25)
    draw.rounded_rectangle(box, 5, fill, INK if fill != SIGNAL else SIGNAL, 2)
    write(draw, (at[0] + 7, at[1] + 3), text, kind, ink)
