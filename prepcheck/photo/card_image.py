"""The scale card as a picture."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from prepcheck.photo.card_design import HEIGHT, WIDTH, Box, boxes, labels


def card_image(px_per_mm: float) -> NDArray[np.uint8]:
    """Draw the card.

    Parameters
    ----------
    px_per_mm : float
        Pixels per mm. The outer edges of the outermost pixels are the card's edges.

    Returns
    -------
    ndarray, shape (round(74 x px_per_mm), round(110 x px_per_mm)), uint8
        sRGB grey values.
    """
    size = (round(HEIGHT * px_per_mm), round(WIDTH * px_per_mm))
    page = np.full(size, 255.0)
    for box in boxes():
        _fill(page, box, px_per_mm)
    return _lettered(np.rint(page).astype(np.uint8), px_per_mm)


def _fill(page: NDArray[np.float64], box: Box, px_per_mm: float) -> None:
    """Blend `box` into `page`, each pixel by the share of it that the box covers."""
    rows, high = _covered(box.y * px_per_mm, (box.y + box.height) * px_per_mm, page.shape[0])
    columns, wide = _covered(box.x * px_per_mm, (box.x + box.width) * px_per_mm, page.shape[1])
    share = np.outer(high, wide)
    page[rows, columns] += share * (box.grey - page[rows, columns])


def _covered(low: float, high: float, length: int) -> tuple[slice, NDArray[np.float64]]:
    """Pixels that an interval touches, and the share of each that it covers."""
    first, last = max(0, math.floor(low)), min(length, math.ceil(high))
    pixels = np.arange(first, last)
    return slice(first, last), np.minimum(pixels + 1, high) - np.maximum(pixels, low)


def _lettered(page: NDArray[np.uint8], px_per_mm: float) -> NDArray[np.uint8]:
    picture = Image.fromarray(page)
    pen = ImageDraw.Draw(picture)
    for label in labels():
        size = label.size * px_per_mm
        font = ImageFont.load_default(size)
        stroke = 0.02 * size if label.bold else 0
        anchor = "ms" if label.centred else "ls"
        at = (label.x * px_per_mm, label.y * px_per_mm)
        pen.text(at, label.text, fill=0, font=font, anchor=anchor, stroke_width=stroke)
    return np.asarray(picture)
