"""What is shown of an inspection: the photo at the size of a screen, the marks over it, and both with words.

The worker that looks at a photo keeps it reduced, with its map of states; the rest is drawn from these when it is asked for.
What is lost is made again from the archive. All of it may be deleted at any time.
"""

from __future__ import annotations

import io
import shutil
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from prepcheck.archive.durable import make_folder
from prepcheck.errors import StoreFault, UnknownRecord
from prepcheck.inspection import Inspection
from prepcheck.record import Record
from prepcheck.report.marks import draw_marks
from prepcheck.report.picture import PHONE_PX, draw_picture
from prepcheck.report.view import View
from prepcheck.web.errors import Busy

if TYPE_CHECKING:
    from prepcheck.archive import Archive
    from prepcheck.store.store import Store
    from prepcheck.web.looker import Fault

Raster = NDArray[np.uint8]
Again = Callable[[str, Path], "Fault | None"]
"""Makes what is shown of a record again in a folder, from its archived photos."""
PHOTO_FILE, STATES_FILE, CHOICE_FILE = "photo.jpg", "states.png", "choice.jpg"
LONGEST = 2000
"""Long side of the photo that is kept for screens, in pixels: a large one, zoomed in."""
_LEAST = 160
_OVERLAY = 1280
_THUMB = 240
_MOST_MAKING = 8


class Shown(StrEnum):
    """The pictures of an inspection."""

    PHOTO = "photo.jpg"
    OVERLAY = "overlay.png"
    MARKED = "marked.jpg"
    THUMB = "thumb.jpg"


def keep(out: Path, inspection: Inspection) -> None:
    """Keep the photo of an inspection at the size of a screen, and its map, in the folder `out`."""
    (out / PHOTO_FILE).write_bytes(jpeg(reduced(inspection.photo.rgb, LONGEST)))
    (out / STATES_FILE).write_bytes(png(inspection.surface.states))


def keep_choice(out: Path, inspection: Inspection, record: Record) -> None:
    """Keep the photo with its numbered outlines, among which a person must choose, in the folder `out`."""
    mat = np.array(reduced(inspection.photo.rgb, _OVERLAY))
    draw_marks(mat, _view(record, mat.shape[1], mat.shape[0]), record, inspection.surface.states)
    (out / CHOICE_FILE).write_bytes(jpeg(mat))


def reduced(rgb: Raster, long: int) -> Raster:
    """Return a picture with a long side of at most `long` pixels."""
    factor = long / max(rgb.shape[:2])
    if factor >= 1:
        return rgb
    size = max(1, round(rgb.shape[1] * factor)), max(1, round(rgb.shape[0] * factor))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)


def jpeg(rgb: Raster, quality: int = 85) -> bytes:
    """Return a picture as JPEG."""
    import simplejpeg

    return bytes(simplejpeg.encode_jpeg(np.ascontiguousarray(rgb), quality=quality, colorspace="RGB"))


def png(picture: Raster) -> bytes:
    """Return a picture, or a map of codes, as PNG."""
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "PNG", compress_level=3)
    return file.getvalue()


def overlay(record: Record, states: Raster, long: int = _OVERLAY) -> Raster:
    """Draw the marks of a record on nothing.

    Drawn once on black and once on white: where both agree a mark covers, where they differ the photo shows through.

    Returns
    -------
    ndarray, shape (h, w, 4), uint8
        RGBA, of the photo's shape with a long side of at most `long` pixels.
    """
    width, height = record.photo.width, record.photo.height
    factor = min(1.0, long / max(width, height))
    w, h = max(1, round(width * factor)), max(1, round(height * factor))
    view = _view(record, w, h)
    black, white = (np.full((h, w, 3), ground, np.uint8) for ground in (0, 255))
    for mat in (black, white):
        draw_marks(mat, view, record, states)
    cover = 255 - (white.astype(np.int16) - black).max(axis=2)
    colour = black.astype(np.float32) * 255 / np.maximum(cover, 1)[..., None]
    return np.dstack([np.clip(colour, 0, 255), np.clip(cover, 0, 255)]).astype(np.uint8)


def _view(record: Record, width: int, height: int) -> View:
    scale = (width / record.photo.width, height / record.photo.height)
    return View(0, 0, width, height, scale, max(width, PHONE_PX) / PHONE_PX)


@dataclass(frozen=True, eq=False)
class Pictures:
    """The pictures of all inspections, in a folder each."""

    folder: Path
    store: Store
    archive: Archive
    again: Again
    _making: threading.BoundedSemaphore = field(default_factory=lambda: threading.BoundedSemaphore(_MOST_MAKING))

    def take(self, inspection: int, made: Path) -> None:
        """Take over what a worker made of an inspection that is logged now."""
        place = self._place(inspection)
        make_folder(self.folder)
        shutil.rmtree(place, ignore_errors=True)
        made.replace(place)

    def get(self, inspection: int, what: Shown, long: int = _OVERLAY) -> bytes:
        """Return a picture of a logged inspection.

        Raises
        ------
        UnknownRecord
            No such inspection, or its photo was erased.
        """
        text = self.store.record_text(inspection)
        record = Record.model_validate_json(text)
        if not self.archive.has(record.photo.sha256):
            shutil.rmtree(self._place(inspection), ignore_errors=True)
            raise UnknownRecord("its photo was erased or is lost", "Check the archive", f"inspection {inspection}")
        try:
            return self._drawn(record, self._made(inspection, text), what, long)
        except OSError:  # cut short when the power went: made again
            shutil.rmtree(self._place(inspection), ignore_errors=True)
            return self._drawn(record, self._made(inspection, text), what, long)

    def _drawn(self, record: Record, place: Path, what: Shown, long: int) -> bytes:
        if what is Shown.PHOTO:
            return jpeg(reduced(_read(place / PHOTO_FILE), max(_LEAST, min(long, LONGEST))))
        if what is Shown.THUMB:
            return jpeg(reduced(_read(place / PHOTO_FILE), _THUMB), quality=75)
        if what is Shown.OVERLAY:
            return png(overlay(record, _read(place / STATES_FILE)))
        return jpeg(draw_picture(record, _read(place / PHOTO_FILE), _read(place / STATES_FILE)))

    def _made(self, inspection: int, record: str) -> Path:
        place = self._place(inspection)
        if not ((place / PHOTO_FILE).exists() and (place / STATES_FILE).exists()):
            make_folder(place)
            fault = self._make_again(record, place)
            if fault is not None:
                kind = UnknownRecord if fault.status == 404 else StoreFault
                raise kind("cannot be shown", fault.message.rstrip("."), f"inspection {inspection}")
        return place

    def _make_again(self, record: str, place: Path) -> Fault | None:
        """Make them again; not many at the same time, so that the page stays quick for others."""
        if not self._making.acquire(blocking=False):
            raise Busy
        try:
            return self.again(record, place)
        finally:
            self._making.release()

    def _place(self, inspection: int) -> Path:
        return self.folder / str(int(inspection))


def _read(path: Path) -> Raster:
    with Image.open(path) as picture:
        return np.asarray(picture, np.uint8)
