"""The picture with numbered crosses that a person looks at while labelling."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.agreement.grid import Grid, whole

_LEAST_PITCH = 90
"""Neighbouring crosses are at least so many pixels apart, so that numbers stay apart."""
_MOST_SIDE = 6000
_QUALITY = 92
_DARK, _LIGHT = (0, 0, 0), (255, 255, 255)
_FONT, _LETTER = cv2.FONT_HERSHEY_SIMPLEX, 0.55


def draw_crosses(rgb: NDArray[np.uint8], reduction: float, laid: Grid) -> bytes:
    """Return a JPEG of the part of a photo that the points lie in, each point a numbered cross with an open middle.

    Parameters
    ----------
    rgb : ndarray, shape (h, w, 3), uint8
        Raster of the upright photo.
    reduction : float
        Pixels of the full photo per pixel of `rgb`.
    laid : Grid
        The points, in pixels of the full photo.
    """
    left, top, right, bottom = _window(rgb.shape, reduction, laid)
    part = np.ascontiguousarray(rgb[top:bottom, left:right, ::-1])
    scale = min(max(1.0, _LEAST_PITCH * reduction / laid.pitch), max(1.0, _MOST_SIDE / max(part.shape)))
    picture = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    places = ((laid.points + 0.5) / reduction - (left, top)) * scale - 0.5
    size = min(2.0, max(1.0, laid.pitch / reduction * scale / _LEAST_PITCH))
    for number, (x, y) in enumerate(np.round(places).astype(int).tolist(), 1):
        _cross(picture, x, y, str(number), size)
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    assert done
    return data.tobytes()


def _window(shape: tuple[int, ...], reduction: float, laid: Grid) -> tuple[int, int, int, int]:
    edge = whole((shape[1], shape[0])) if laid.outline is None else (laid.outline + 0.5) / reduction
    beside = laid.pitch / reduction
    left, top = np.maximum(np.floor(edge.min(axis=0) - beside), 0).astype(int).tolist()
    right, bottom = np.minimum(np.ceil(edge.max(axis=0) + beside), (shape[1], shape[0])).astype(int).tolist()
    return left, top, right, bottom


def _cross(picture: cv2.typing.MatLike, x: int, y: int, number: str, size: float) -> None:
    """Draw light lines on dark ones, so that they show on metal and on oxide; the point itself stays free."""
    near, far, beside = round(4 * size), round(11 * size), round(6 * size)
    at = (min(x + beside, picture.shape[1] - round(12 * size * len(number))), max(y - beside, round(14 * size)))
    for ink, width in ((_DARK, round(4 * size)), (_LIGHT, round(1.4 * size))):
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            cv2.line(picture, (x + near * dx, y + near * dy), (x + far * dx, y + far * dy), ink, width, cv2.LINE_AA)
        cv2.putText(picture, number, at, _FONT, _LETTER * size, ink, width, cv2.LINE_AA)
