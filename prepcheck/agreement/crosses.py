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
_DARK, _LIGHT, _BESIDE = (0, 0, 0), (255, 255, 255), (128, 128, 128)
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


def draw_point(rgb: NDArray[np.uint8], reduction: float, laid: Grid, number: int, across: float, width: int) -> bytes:
    """Return a JPEG of the place round one point, which lies in its middle under a cross with an open middle.

    Parameters
    ----------
    rgb, reduction, laid
        As for `draw_crosses`.
    number : int
        Of the point, from 1.
    across : float
        Width of the place in pixels of the full photo; what lies beside the photo is grey.
    width : int
        Width of the picture; its height is three quarters of it.
    """
    x, y = (laid.points[number - 1] + 0.5) / reduction - 0.5
    scale = width * reduction / across
    height = width * 3 // 4
    move = np.array([[scale, 0, width / 2 - scale * x], [0, scale, height / 2 - scale * y]])
    part = np.ascontiguousarray(rgb[..., ::-1])
    how = cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA
    picture = cv2.warpAffine(part, move, (width, height), flags=how, borderValue=_BESIDE)
    _cross(picture, width // 2, height // 2, "", width / 360)
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
