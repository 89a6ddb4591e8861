"""The small picture of a photo on a contact sheet: with its marks, at the size of half a phone's screen."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray

from prepcheck.record import PatchRecord, Record
from prepcheck.report.marks import draw_marks
from prepcheck.report.view import View

Raster = NDArray[np.uint8]
ROOM = (320, 240)
"""Most width and height in pixels."""
_UNIT = 0.85
"""Strokes and letters beside those of a picture as wide as a phone's screen."""
_QUALITY, _GAP = 82, 8


def thumbnail(record: Record, rgb: Raster, states: Raster | None) -> bytes:
    """Draw a photo small with its marks; JPEG bytes.

    Parameters
    ----------
    record : Record
        The answer to show.
    rgb : ndarray, shape (h, w, 3), uint8
        The photo, upright sRGB, at any reduction.
    states : ndarray, shape (h2, w2), uint8, or None
        Codes of `prepcheck.terms.State` at any reduction; None draws no hatches.
    """
    factor = min(ROOM[0] / rgb.shape[1], ROOM[1] / rgb.shape[0])
    width, height = (max(1, round(side * factor)) for side in (rgb.shape[1], rgb.shape[0]))
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    small = np.ascontiguousarray(cv2.resize(rgb, (width, height), interpolation=way), np.uint8)
    scale = width / record.photo.width, height / record.photo.height
    draw_marks(small, View(0, 0, width, height, scale, _UNIT), record, states, _short)
    return bytes(simplejpeg.encode_jpeg(small, quality=_QUALITY, colorsubsampling="444"))


def side_by_side(pictures: Sequence[bytes]) -> bytes:
    """Lay JPEG pictures of one height beside each other; JPEG bytes."""
    shown = [simplejpeg.decode_jpeg(picture) for picture in pictures]
    gap = np.full((shown[0].shape[0], _GAP, 3), 255, np.uint8)
    wide = np.hstack([part for picture in shown for part in (gap, picture)][1:])
    return bytes(simplejpeg.encode_jpeg(np.ascontiguousarray(wide), quality=_QUALITY, colorsubsampling="444"))


def _short(patch: PatchRecord) -> str:
    """Say the length of the worst patch; without one, only its kind."""
    doubt = "" if patch.sure else "?"
    return f"{patch.state}{doubt}" if patch.length_mm is None else f"{patch.length_mm:.0f} mm{doubt}"
