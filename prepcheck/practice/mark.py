"""Where a person saw residue on a photo: painted with a finger, drawn as outlines, or given as a mask."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import WrongUse

NOTHING, UNSURE, RESIDUE = 0, 128, 255
"""Codes of a mark: no residue seen, not sure, residue seen."""
MOST_MASK_BYTES = 60_000_000
_PNG = b"\x89PNG\r\n\x1a\n"
_BROADEST = 4
"""A brush is at most the long side divided by this."""
_SIZE = slice(16, 24)
"""Where a PNG says its width and height."""
_MASK = "Give a PNG of the photo's upright size: white is residue, grey (128) not sure, black nothing"

Mark = NDArray[np.uint8]
"""Shape (h, w), of the photo's raster, with the codes above."""
Places = NDArray[np.float64]
Kind = Literal["residue", "unsure", "nothing"]
_CODES: dict[Kind, int] = {"residue": RESIDUE, "unsure": UNSURE, "nothing": NOTHING}


@dataclass(frozen=True)
class Stroke:
    """One stroke of a finger.

    Parameters
    ----------
    kind : {"residue", "unsure", "nothing"}
        What it says of the places under it; ``nothing`` wipes what was said before.
    width : float or None
        Of the brush in pixels of the full photo; None for a line round a place, which is filled.
    places : ndarray, shape (n, 2), float64
        (x, y) in pixels of the upright full photo.
    """

    kind: Kind
    width: float | None
    places: Places = field(repr=False)


def painted(strokes: Sequence[Stroke], shape: tuple[int, int], reduction: float) -> Mark:
    """Return the mark that strokes make, a later one over those before.

    Parameters
    ----------
    strokes : sequence of Stroke
        In the order in which they were drawn.
    shape : tuple of int
        Height and width of the photo's raster.
    reduction : float
        Pixels of the full photo per pixel of the raster.
    """
    mark = np.zeros(shape, np.uint8)
    for stroke in strokes:
        _paint(mark, stroke, reduction)
    return mark


def filled(outlines: Sequence[Places], shape: tuple[int, int], reduction: float) -> Mark:
    """Return the mark whose residue is what lies inside outlines, (x, y) in pixels of the full photo."""
    return painted([Stroke("residue", None, outline) for outline in outlines], shape, reduction)


def from_png(data: bytes, size: tuple[int, int], shape: tuple[int, int], subject: str) -> Mark:
    """Read a mask; `subject` names it in complaints.

    Parameters
    ----------
    data : bytes
        A PNG of the full photo, or of its raster.
    size : tuple of int
        Width and height of the upright full photo.
    shape : tuple of int
        Height and width of its raster.

    Raises
    ------
    WrongUse
        It is no PNG, has another size, or holds another grey than the three.
    """
    if data[:8] != _PNG or len(data) < _SIZE.stop:
        raise WrongUse("is no PNG", _MASK, subject)
    told = struct.unpack(">II", data[_SIZE])
    if told not in (size, shape[::-1]):  # before anything is decoded
        raise WrongUse(f"is {told[0]} x {told[1]} pixels, the photo {size[0]} x {size[1]}", _MASK, subject)
    plane = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    if plane is None:
        raise WrongUse("is damaged", "Save it again", subject)
    if not np.isin(plane, (NOTHING, UNSURE, RESIDUE)).all():
        raise WrongUse("holds other greys than black, 128 and white", _MASK, subject)
    return np.asarray(cv2.resize(plane, shape[::-1], interpolation=cv2.INTER_NEAREST_EXACT), np.uint8)


def to_png(mark: Mark) -> bytes:
    """Return a mark as PNG; its bytes are what is hashed and kept."""
    done, data = cv2.imencode(".png", mark)
    assert done
    return data.tobytes()


def _paint(mark: Mark, stroke: Stroke, reduction: float) -> None:
    if not len(stroke.places):
        return
    code = _CODES[stroke.kind]
    places = np.round((stroke.places + 0.5) / reduction - 0.5).astype(np.int32)
    if stroke.width is None:
        cv2.fillPoly(mark, [places], code)
        return
    width = min(max(1, round(stroke.width / reduction)), max(1, max(mark.shape) // _BROADEST))
    cv2.polylines(mark, [places], False, code, width)
    for x, y in (places[0].tolist(), places[-1].tolist()):
        cv2.circle(mark, (x, y), width // 2, code, -1)
