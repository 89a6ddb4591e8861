"""The picture of a result: the photo with its marks between a header and a footer, for a phone and for print."""

from __future__ import annotations

import io
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from prepcheck.errors import WrongUse
from prepcheck.record import Record
from prepcheck.report import panels
from prepcheck.report.files import write_whole
from prepcheck.report.marks import draw_marks
from prepcheck.report.view import View
from prepcheck.report.words import person_spots

Raster = NDArray[np.uint8]
PHONE_PX = 390
"""Width of a phone's screen; strokes and letters are multiples of 1/390 of the picture's width."""
_LONGEST = (1280, 1600)
_LEAST_WIDTH, _LEAST_HEIGHT = 780, 200
_MAT = (58, 62, 68)
_FORMATS = {".png": "PNG", ".jpg": "JPEG", ".jpeg": "JPEG"}
_SAVING = {"PNG": {"compress_level": 3}, "JPEG": {"quality": 90, "subsampling": 0}}


def draw_picture(
    record: Record, rgb: Raster, states: Raster | None, *, job_line: str | None = None, when: str | None = None
) -> Raster:
    """Draw the result of one photo. Reads the record only; never computes a score.

    Parameters
    ----------
    record : Record
        The answer to show.
    rgb : ndarray, shape (h, w, 3), uint8
        The photo, upright sRGB, at any reduction.
    states : ndarray, shape (h2, w2), uint8, or None
        Codes of `prepcheck.terms.State` for the whole photo at any reduction; None draws no hatches.
    job_line, when : str or None
        Job and date as they shall be read; left out when None.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8
        W is 780 to 1280 pixels.

    Raises
    ------
    WrongUse
        The arrays have another shape or type.
    """
    _check(rgb, states)
    mat, view = _lay_on_mat(record, rgb)
    used = draw_marks(mat, view, record, states)
    width, unit = mat.shape[1], view.unit
    parts = [
        panels.job_strip(job_line, when, width, unit),
        panels.standing_band(record, width, unit),
        panels.set_line(record, width, unit),
        panels.next_step(record, width, unit),
        panels.person_answer(record, width, unit),
        mat,
        panels.scale_strip(record, view, width),
        panels.legend(used, bool(person_spots(record)), width, unit),
        panels.spot_rows(record, width, unit),
        panels.joint_rows(record, width, unit),
        panels.flag_rows(record, width, unit),
        panels.foot(record, width, unit),
    ]
    return np.vstack([part for part in parts if part is not None])


def write_picture(path: Path, picture: Raster) -> None:
    """Write a picture as PNG or JPEG, by the suffix of `path`: whole or not at all.

    Raises
    ------
    WrongUse
        The suffix is another one.
    CannotWrite
        The place cannot be written.
    """
    kind = picture_format(path)
    file = io.BytesIO()
    Image.fromarray(picture).save(file, kind, **_SAVING[kind])
    write_whole(path, file.getvalue())


def picture_format(path: Path) -> str:
    """Return the format, ``PNG`` or ``JPEG``, that the suffix of `path` means; `WrongUse` for any other."""
    kind = _FORMATS.get(path.suffix.lower())
    if kind is None:
        raise WrongUse("pictures are written as PNG or JPEG", "Give a name that ends in .png or .jpg", str(path))
    return kind


def _check(rgb: Raster, states: Raster | None) -> None:
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8 or 0 in rgb.shape:
        raise WrongUse(f"a photo of shape {rgb.shape} and type {rgb.dtype} cannot be drawn", "Give (h, w, 3) uint8")
    if states is not None and (states.ndim != 2 or states.dtype != np.uint8 or 0 in states.shape):
        raise WrongUse(f"states of shape {states.shape} and type {states.dtype} cannot be drawn", "Give (h, w) uint8")


def _lay_on_mat(record: Record, rgb: Raster) -> tuple[Raster, View]:
    """Bring the photo to a size for reading and centre it on a mat at least as large as labels need."""
    height, width = rgb.shape[:2]
    fit = min(_LONGEST[0] / width, _LONGEST[1] / height)
    factor = min(fit, max(1.0, min(_LEAST_WIDTH / width, 1.5 * _LEAST_WIDTH / height)))
    drawn = max(1, round(width * factor)), max(1, round(height * factor))
    size = max(drawn[0], _LEAST_WIDTH), max(drawn[1], _LEAST_HEIGHT)
    left, top = (size[0] - drawn[0]) // 2, (size[1] - drawn[1]) // 2
    mat = np.full((size[1], size[0], 3), _MAT, np.uint8)
    how = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    mat[top : top + drawn[1], left : left + drawn[0]] = cv2.resize(rgb, drawn, interpolation=how)
    scale = drawn[0] / record.photo.width, drawn[1] / record.photo.height
    return mat, View(left, top, *drawn, scale, size[0] / PHONE_PX)
