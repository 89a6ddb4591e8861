"""A person's own photos for the feedback sheet: the place of the largest patch, cut out of the photo, with its marks."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from prepcheck.errors import PrepcheckError
from prepcheck.photo import from_bytes
from prepcheck.progress.gather import Left
from prepcheck.record import PatchRecord, Record, SpotRecord
from prepcheck.report.hatch import HATCHES, PAPER, hatch
from prepcheck.report.job.content import Picture
from prepcheck.report.job.units import patch_in
from prepcheck.report.marks import draw_marks
from prepcheck.report.view import View
from prepcheck.settings import Settings
from prepcheck.terms import RESIDUE, State
from prepcheck.trade.units import System

Raster = NDArray[np.uint8]
Box = tuple[float, float, float, float]
WIDTH_PX, HEIGHT_PX = 600, 380
_UNIT, _QUALITY = WIDTH_PX / 300, 84
_AROUND, _LEAST_SHARE = 1.8, 0.5
"""Height of the cut-out in lengths of the patch, and at least in widths of the spot."""


def worst_first(left: Sequence[Left]) -> list[Left]:
    """Sort first passes by the length of the largest patch as a share of its spot, the newest first of equals.

    Of a photo that was logged more than once only the newest is kept.
    """
    patched = {one.record.photo.sha256: one for one in left if one.miss.share > 0}
    return sorted(patched.values(), key=lambda one: (-one.miss.share, -one.shot.number))


def pictures_of(
    left: Sequence[Left],
    photo: Callable[[str], bytes],
    states: Callable[[Record], Raster | None],
    system: System,
    most: int = 3,
) -> list[Picture]:
    """Return cut-outs of the worst patches; a photo that was erased or cannot be read is passed over.

    Parameters
    ----------
    left : sequence of Left
        First passes that left residue.
    photo : callable
        Returns the bytes of a photo by SHA-256.
    states : callable
        Returns the states mapped in a logged photo, shape (h, w), or None.
    system : System
        Units of lengths.
    most : int
        How many pictures at most.
    """
    pictures: list[Picture] = []
    for one in worst_first(left):
        if len(pictures) == most:
            break
        try:
            pictures.append(_picture(one, photo, states, system))
        except PrepcheckError:
            continue
    return pictures


def _picture(
    one: Left, photo: Callable[[str], bytes], states: Callable[[Record], Raster | None], system: System
) -> Picture:
    record, box = one.record, _box(one)
    tile = _cut(from_bytes(photo(record.photo.sha256), record.photo.name, Settings()).rgb, record, box, cv2.INTER_AREA)
    mapped, view = states(record), _view(record, box)
    if mapped is not None:
        _hatch(tile, np.where(_inside(one, view), _cut(mapped, record, box, cv2.INTER_NEAREST), State.BACKGROUND))
    draw_marks(tile, view, _with_this_spot(one), None, lambda patch: patch_in(patch, system))
    file = io.BytesIO()
    Image.fromarray(tile).save(file, "JPEG", quality=_QUALITY, optimize=True)
    words = _caption(one, system)
    return Picture(
        file.getvalue(), WIDTH_PX, HEIGHT_PX, words, f"Part of a photo with the largest patch marked: {words}"
    )


def _view(record: Record, box: Box) -> View:
    """Return where the whole photo lies when `box` fills the picture."""
    scale = WIDTH_PX / (box[2] - box[0])
    size = round(record.photo.width * scale), round(record.photo.height * scale)
    return View(round(-box[0] * scale), round(-box[1] * scale), *size, (scale, scale), _UNIT)


def _inside(one: Left, view: View) -> NDArray[np.bool_]:
    """Return where the spot lies in the picture."""
    mask = np.zeros((HEIGHT_PX, WIDTH_PX), np.uint8)
    outline = np.asarray(np.rint(view.place(_patch(one)[0].outline)), np.int32)
    return np.asarray(cv2.fillPoly(mask, [outline], 1), np.bool_)


def _patch(one: Left) -> tuple[SpotRecord, PatchRecord]:
    answer = one.record if one.record.by_person is None else one.record.by_person
    spot = next(spot for spot in answer.spots if spot.number == one.shot.outline)
    assert spot.largest_patch is not None  # only such ones are drawn
    return spot, spot.largest_patch


def _box(one: Left) -> Box:
    """Return what to cut out (left, top, right, bottom) in full-size pixels, moved into the photo where it fits."""
    _, patch = _patch(one)
    shape = one.record.photo
    height = max(_AROUND * patch.length_px, _LEAST_SHARE * patch.length_px / one.miss.share)
    height = min(height, max(shape.height, shape.width * HEIGHT_PX / WIDTH_PX))
    width = height * WIDTH_PX / HEIGHT_PX
    left = min(max(patch.at[0] - width / 2, 0.0), max(shape.width - width, 0.0))
    top = min(max(patch.at[1] - height / 2, 0.0), max(shape.height - height, 0.0))
    return left, top, left + width, top + height


def _cut(plane: Raster, record: Record, box: Box, how: int) -> Raster:
    """Return the box out of a plane that shows the whole photo, enlarged or reduced; paper beyond the photo's edge."""
    fit = np.array([plane.shape[1] / record.photo.width, plane.shape[0] / record.photo.height])
    x0, y0, x1, y1 = np.rint(np.array(box) * np.tile(fit, 2)).astype(int)
    part = plane[y0:y1, x0:x1]
    below, beside = max(y1 - y0 - part.shape[0], 0), max(x1 - x0 - part.shape[1], 0)
    whole = cv2.copyMakeBorder(part, 0, below, 0, beside, cv2.BORDER_CONSTANT, value=PAPER if plane.ndim == 3 else 0)
    if how == cv2.INTER_AREA and whole.shape[1] < WIDTH_PX:
        how = cv2.INTER_CUBIC
    return np.array(cv2.resize(whole, (WIDTH_PX, HEIGHT_PX), interpolation=how), np.uint8)


def _hatch(tile: Raster, states: Raster) -> None:
    for state in RESIDUE:
        mask = states == state
        edges, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        cv2.polylines(tile, edges, True, PAPER, round(2.6 * _UNIT))
        hatch(tile, mask, state, _UNIT)
        cv2.polylines(tile, edges, True, HATCHES[state].ink, round(_UNIT))


def _with_this_spot(one: Left) -> Record:
    """Return the answer with this spot alone, so that the arrow points at its patch."""
    spot, _ = _patch(one)
    if spot.outlined_by == "tool":
        return one.record.model_copy(update={"spots": [spot], "by_person": None})
    assert one.record.by_person is not None  # who drew the outline
    person = one.record.by_person.model_copy(update={"spots": [spot], "refused": {}})
    return one.record.model_copy(update={"spots": [], "by_person": person})


def _caption(one: Left, system: System) -> str:
    _, patch = _patch(one)
    shot = one.shot
    where = f"{one.miss.place}" + (f", its {one.miss.side} side" if one.miss.side else "")
    spot = f"spot {shot.spot}" + (f" {shot.spot_name}" if shot.spot_name else "")
    return f"{shot.job}, {spot}, {shot.at:%Y-%m-%d}: {patch_in(patch, system)}, {where}"
