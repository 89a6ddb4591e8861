"""The sign of each standing, drawn beside its word; it reads without colour."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from prepcheck.report.hatch import PAPER, hatch
from prepcheck.report.lettering import Colour, Type, write
from prepcheck.terms import Standing, State

Raster = NDArray[np.uint8]


def _dot(at: tuple[float, float]) -> tuple[int, int]:
    return round(at[0]), round(at[1])


def _sign_residue(band: Raster, x: float, y: float, r: float, ink: Colour) -> None:
    """A spot with hatched places."""
    inside = np.zeros(band.shape[:2], np.uint8)
    cv2.circle(inside, _dot((x, y)), round(r), 1, -1)
    cv2.circle(band, _dot((x, y)), round(r), PAPER, -1, cv2.LINE_AA)
    hatch(band, inside.astype(bool), State.OXIDE, r / 14)
    cv2.circle(band, _dot((x, y)), round(r), ink, round(r / 7), cv2.LINE_AA)


def _sign_doubt(band: Raster, x: float, y: float, r: float, ink: Colour) -> None:
    """A question mark in a ring."""
    cv2.circle(band, _dot((x, y)), round(r * 0.94), ink, round(r / 7), cv2.LINE_AA)
    sheet = Image.fromarray(band)
    write(ImageDraw.Draw(sheet), (x, y), "?", Type(1.5 * r, bold=True), ink, anchor="mm")
    band[:] = np.asarray(sheet)


def _sign_retake(band: Raster, x: float, y: float, r: float, ink: Colour) -> None:
    """A camera."""
    thick = round(r / 7)
    low, high = _dot((x - r, y - 0.55 * r)), _dot((x + r, y + 0.7 * r))
    cv2.rectangle(band, low, high, ink, thick)
    cv2.rectangle(band, _dot((x - 0.4 * r, y - 0.8 * r)), _dot((x + 0.4 * r, y - 0.55 * r)), ink, -1)
    cv2.circle(band, _dot((x, y + 0.08 * r)), round(0.4 * r), ink, thick, cv2.LINE_AA)


def _sign_look(band: Raster, x: float, y: float, r: float, ink: Colour) -> None:
    """An eye: look yourself."""
    turn = np.linspace(-1, 1, 41)
    lid = 0.62 * r * (1 - turn**2)
    upper = np.column_stack([x + r * turn, y - lid])
    lower = np.column_stack([x + r * turn[::-1], y + lid])
    edge = np.asarray(np.rint(np.vstack([upper, lower])), np.int32)
    cv2.polylines(band, [edge], True, ink, round(r / 7), cv2.LINE_AA)
    cv2.circle(band, _dot((x, y)), round(0.32 * r), ink, -1, cv2.LINE_AA)


SIGNS: dict[Standing, Callable[[Raster, float, float, float, Colour], None]] = {
    Standing.RESIDUE_LEFT: _sign_residue,
    Standing.CANNOT_TELL: _sign_doubt,
    Standing.RETAKE: _sign_retake,
    Standing.BRIGHT: _sign_look,
}
"""Draws a sign into a band: middle, radius in pixels, colour."""
