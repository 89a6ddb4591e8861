"""Photos for the report: turned upright, made smaller, without position or any other data, with the logged marks.

Draws the outlines and the patch that were logged, and hatches what was mapped; maps nothing and computes no score.
"""

from __future__ import annotations

import io

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from prepcheck.errors import PrepcheckError
from prepcheck.photo import from_bytes
from prepcheck.record import Record
from prepcheck.report.job.content import Picture
from prepcheck.report.job.units import patch_in
from prepcheck.report.marks import draw_marks
from prepcheck.report.view import View
from prepcheck.settings import Settings
from prepcheck.trade.units import System

LARGE_PX, SMALL_PX = 1400, 760
"""Long side of a picture set large, and of one in a strip."""
_QUALITY = 82
_UNITS = {LARGE_PX: 620, SMALL_PX: 340}
"""Long side in the units of strokes and letters: they are thicker in small pictures."""
_CLIP_FORMATS = ("MP4", "MOV")

Raster = NDArray[np.uint8]


def picture_of(
    data: bytes,
    name: str,
    record: Record | None,
    caption: str,
    alt: str,
    *,
    states: Raster | None = None,
    long_side: int = SMALL_PX,
    system: System = System.METRIC,
) -> Picture | str:
    """Return the photo `data` with the marks of `record`, or why it cannot be shown.

    Parameters
    ----------
    data : bytes
        A photo as received.
    name : str
        Its file name.
    record : Record or None
        The logged answer; None draws no marks.
    caption, alt : str
        Said below it, and instead of it.
    states : ndarray, shape (h, w), uint8, or None
        Codes of `prepcheck.terms.State` for the whole photo at any reduction, to hatch; None hatches nothing.
    long_side : int
        In pixels; a smaller photo is not made larger.
    system : System
        Units of the length at the arrow to the worst patch.
    """
    try:
        raster = _raster(data, name, record)
    except PrepcheckError as error:
        return error.what
    drawn = _reduced(raster, long_side)
    if record is not None:
        _mark(drawn, record, states, long_side, system)
    file = io.BytesIO()
    Image.fromarray(drawn).save(file, "JPEG", quality=_QUALITY, optimize=True)
    return Picture(file.getvalue(), drawn.shape[1], drawn.shape[0], caption, alt)


def _raster(data: bytes, name: str, record: Record | None) -> Raster:
    """Return the upright photo, of a clip its first picture."""
    if record is not None and record.photo.format in _CLIP_FORMATS:
        from prepcheck.photo.clip import clip_from_bytes

        return clip_from_bytes(data, name, Settings())[0].rgb
    return from_bytes(data, name, Settings()).rgb


def _reduced(raster: Raster, long_side: int) -> Raster:
    height, width = raster.shape[:2]
    factor = min(1.0, long_side / max(height, width))
    size = max(1, round(width * factor)), max(1, round(height * factor))
    return np.array(cv2.resize(raster, size, interpolation=cv2.INTER_AREA), np.uint8)


def _mark(drawn: Raster, record: Record, states: Raster | None, long_side: int, system: System) -> None:
    height, width = drawn.shape[:2]
    scale = width / record.photo.width, height / record.photo.height
    unit = max(width, height) / _UNITS.get(long_side, 390)
    view = View(0, 0, width, height, scale, unit)
    draw_marks(drawn, view, record, states, lambda patch: patch_in(patch, system))
