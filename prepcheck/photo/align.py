"""One photo laid over another of the same view: a moved torch, a hand that shook, another grinding pass.

What a lamp does to ground metal moves with the lamp; edges, scratches and the rims of patches stay. So photos are compared
by the strength of their local contrast, evened out over the picture, and the answer is checked piece by piece: tiles of the
first photo are looked for in the other one, and enough of them have to lie where the answer says.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo.align_features import matched
from prepcheck.photo.align_tiles import Tiles, corrected, drawn_from_afar, look_for_tiles
from prepcheck.photo.card import find_card, plane_of
from prepcheck.photo.card_design import outline
from prepcheck.photo.photo import Photo, enlargement
from prepcheck.settings import AlignSettings, Settings

Array = NDArray[np.float64]
Plain = NDArray[np.float32]
Mask = NDArray[np.bool_]

SIDE = 1280
"""Long side, in pixels, at which photos are compared and errors are given."""
_DARK = 8.0
_STEPS = (8, 4, 2)
_TURNS = 30
"""Most iterations of the climb at each size."""
_CORRECTIONS = 3
_CARD_RIM_MM = 4.0
_GOOD_PX = 0.7
"""Estimated error at which no other start is tried."""
_MIRRORED_MATCHES = 40
_TOO_LITTLE = "the photos show different parts or too little in common"


@dataclass(frozen=True, eq=False)
class Alignment:
    """How another photo lies on the first.

    Parameters
    ----------
    matrix : ndarray, shape (3, 3), float64
        Homography from pixels (x, y) of the other photo at full size to those of the first, pixel centres at whole numbers.
    error_px : float
        Estimated error over the view that both share, root mean square, in pixels at a long side of 1280.
    matches : int
        Tiles of the first photo that were found where `matrix` says.
    by : {"card", "features"}
        ``card`` when the scale card in both photos gave the start, and the surface bears it out.
    """

    matrix: Array = field(repr=False)
    error_px: float
    matches: int
    by: str


@dataclass(frozen=True)
class NotAligned:
    """Why two photos are not laid over each other.

    Parameters
    ----------
    reason : str
        In words, without the photo's name.
    """

    reason: str


@dataclass(frozen=True, eq=False)
class _View:
    """A photo made ready: evened-out contrast at a long side of `SIDE` at most, its strength there and on smaller pictures.

    The strength is 0 where nothing counts: under the card, which may lie elsewhere in the next photo, and under a mask.
    """

    contrast: Plain
    strength: Plain
    small: dict[int, Plain]
    to_full: Array

    @property
    def size(self) -> tuple[int, int]:
        return self.contrast.shape[1], self.contrast.shape[0]


def align(first: Photo, other: Photo, settings: Settings, *, mask: Mask | None = None) -> Alignment | NotAligned:
    """Find how `other` lies on `first`.

    Parameters
    ----------
    first, other : Photo
        Of any size and orientation.
    settings : Settings
        `AlignSettings`: how sure the answer has to be.
    mask : ndarray, shape (h, w), bool, optional
        What to ignore in the first photo (something that moves), at any size with its aspect; True is ignored.

    Returns
    -------
    Alignment or NotAligned
        The latter when the photos show too little in common, lie too differently, are mirrored, or the estimated error
        is over the limit.
    """
    cards = [_card_plane(photo, settings) for photo in (first, other)]
    one, two = _view(first, cards[0], mask), _view(other, cards[1])
    if min(float(one.strength.max()), float(two.strength.max())) < 0.1:
        return NotAligned("one of the two photos shows no detail to lay them over each other by")
    best: Alignment | NotAligned = NotAligned(_TOO_LITTLE)
    rank = (False, 0.0)
    for by, start in _starts(one, two, cards):
        matrix, tiles = _settled(one, two, start)
        found = _judged(one, two, matrix, tiles, by, settings.align)
        if isinstance(found, Alignment) and found.error_px <= _GOOD_PX:
            return found
        its_rank = (True, -found.error_px) if isinstance(found, Alignment) else (False, float(tiles.agree.sum()))
        if its_rank > rank:
            rank, best = its_rank, found
    if isinstance(best, NotAligned) and _mirrored(one, two):
        return NotAligned("one photo is a mirror image of the other")
    return best


def warp(
    picture: NDArray[Any],
    alignment: Alignment,
    other_size: tuple[int, int],
    first_size: tuple[int, int],
    *,
    shape: tuple[int, int] | None = None,
    nearest: bool = False,
) -> tuple[NDArray[Any], Mask]:
    """Bring a map of the other photo into the frame of the first.

    Parameters
    ----------
    picture : ndarray, shape (h, w) or (h, w, c), bool, uint8, float32 or float64
        Covers the whole other photo, at any size.
    alignment : Alignment
        Of the other photo on the first.
    other_size, first_size : tuple of int
        Full upright (width, height) of the photos, in pixels.
    shape : tuple of int, optional
        (h, w) of the result, which covers the whole first photo; that of `picture` fitted to the first photo by default.
    nearest : bool
        Take the nearest value instead of mixing: for codes and numbers of spots.

    Returns
    -------
    picture : ndarray, shape (h, w) or (h, w, c), same dtype
        In the frame of the first; 0 where the other photo shows nothing.
    valid : ndarray, shape (h, w), bool
        Where it shows something.
    """
    size = (picture.shape[1], picture.shape[0])
    fit = max(size) / max(first_size)
    rows, columns = shape or (max(1, round(first_size[1] * fit)), max(1, round(first_size[0] * fit)))
    there = _to_full(first_size, (columns, rows))
    matrix = np.linalg.inv(there) @ alignment.matrix @ _to_full(other_size, size)
    how = cv2.INTER_NEAREST if nearest or picture.dtype == np.bool_ else cv2.INTER_LINEAR
    plain = picture.astype(np.uint8) if picture.dtype == np.bool_ else picture
    laid = cv2.warpPerspective(plain, matrix, (columns, rows), flags=how)
    return laid.astype(picture.dtype), _covered(size, matrix, (columns, rows))


def _to_full(full: tuple[int, int], size: tuple[int, int]) -> Array:
    """Homography from pixels of a raster to those of the full-size photo, pixel centres at whole numbers."""
    return enlargement(full[0] / size[0], full[1] / size[1])


def _covered(size: tuple[int, int], matrix: Array, target: tuple[int, int]) -> Mask:
    whole = np.ones((size[1], size[0]), np.uint8)
    return np.asarray(cv2.warpPerspective(whole, matrix, target, flags=cv2.INTER_NEAREST) > 0)


def _view(photo: Photo, card: Array | None, mask: Mask | None = None) -> _View:
    scale = min(1.0, SIDE / max(photo.rgb.shape[:2]))
    size = (max(1, round(photo.rgb.shape[1] * scale)), max(1, round(photo.rgb.shape[0] * scale)))
    rgb = np.asarray(cv2.resize(photo.rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    to_full = _to_full((photo.width, photo.height), size)
    seen = np.ones(rgb.shape[:2], np.uint8)
    if card is not None:
        cv2.fillConvexPoly(seen, _outlined(np.asarray(np.linalg.inv(card @ to_full))), 0)
    if mask is not None:
        seen[cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0] = 0
    contrast, share = _contrast(rgb), seen.astype(np.float32)
    small = {step: _shrunk(contrast, share, step) for step in _STEPS}
    return _View(contrast, _strength(contrast) * share, small, to_full)


def _outlined(from_mm: Array) -> NDArray[np.int32]:
    """Corners of the card with a rim, in whole pixels."""
    card = outline()
    wide = card + _CARD_RIM_MM * np.sign(card - card.mean(axis=0))
    ends = np.c_[wide, np.ones(4)] @ from_mm.T
    return np.asarray(np.rint(np.clip(ends[:, :2] / ends[:, 2:], -1e4, 1e4)), np.int32)


def _contrast(rgb: NDArray[np.uint8]) -> Plain:
    """Log brightness against its surroundings, in units of the contrast there (a floor keeps noise down)."""
    light = np.log(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32) + np.float32(_DARK))
    light = cv2.GaussianBlur(light, (0, 0), 1.0)
    apart = light - cv2.GaussianBlur(light, (0, 0), 10.0)
    usual = np.sqrt(np.maximum(cv2.GaussianBlur(apart * apart, (0, 0), 20.0), 0)) + np.float32(0.03)
    return np.asarray(np.clip(apart / usual, -3, 3), np.float32)


def _strength(contrast: Plain) -> Plain:
    """How strongly the contrast changes at a pixel, whichever side is the brighter one."""
    smooth = cv2.GaussianBlur(contrast, (0, 0), 1.2)
    slope = cv2.magnitude(cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1))
    return np.asarray(slope / (cv2.GaussianBlur(slope, (0, 0), 20.0) + np.float32(0.05)), np.float32)


def _shrunk(contrast: Plain, seen: Plain, step: int) -> Plain:
    size = (max(1, contrast.shape[1] // step), max(1, contrast.shape[0] // step))
    smaller, share = (
        np.asarray(cv2.resize(x, size, interpolation=cv2.INTER_AREA), np.float32) for x in (contrast, seen)
    )
    return np.asarray(_strength(smaller) * share, np.float32)


def _starts(one: _View, two: _View, cards: list[Array | None]) -> Iterator[tuple[str, Array]]:
    """Homographies from `one` to `two` worth a try, the dearest to find last."""
    if cards[0] is not None and cards[1] is not None:
        yield "card", np.linalg.inv(two.to_full) @ np.linalg.inv(cards[1]) @ cards[0] @ one.to_full
    yield "features", _laid_on(one.size, two.size)
    by_features, _ = matched(one.contrast, two.contrast)
    if by_features is not None:
        yield "features", by_features


def _card_plane(photo: Photo, settings: Settings) -> Array | None:
    """Homography from full-size pixels to mm on the card; a doubtful card gives a start too, the surface has to agree."""
    if photo.plane is not None and photo.plane.source == "card":
        return photo.plane.to_mm
    find = find_card(photo.rgb, settings.card)
    return None if find is None else plane_of(find, photo.reduction).to_mm


def _laid_on(size: tuple[int, int], other: tuple[int, int]) -> Array:
    """Centre on centre, long side as long as long side."""
    scale = max(other) / max(size)
    x, y = ((b - 1) / 2 - scale * (a - 1) / 2 for a, b in zip(size, other, strict=True))
    return np.array([(scale, 0.0, x), (0.0, scale, y), (0.0, 0.0, 1.0)])


def _settled(one: _View, two: _View, start: Array) -> tuple[Array, Tiles]:
    """Climb from `start` on ever larger pictures, then go where the tiles are found."""
    matrix = start
    for step in _STEPS:
        matrix = _climbed(one, two, matrix, step)
    matrix = drawn_from_afar(one.strength, two.strength, matrix)
    for _ in range(_CORRECTIONS):
        matrix = corrected(matrix, look_for_tiles(one.strength, two.strength, matrix))
    return matrix, look_for_tiles(one.strength, two.strength, matrix)


def _climbed(one: _View, two: _View, start: Array, step: int) -> Array:
    """Follow the correlation coefficient of both pictures uphill, at one `step`-th of their size.

    Source: Evangelidis and Psarakis, Parametric image alignment using enhanced correlation coefficient maximization (2008).
    """
    grown = [_to_full(view.size, (view.small[step].shape[1], view.small[step].shape[0])) for view in (one, two)]
    guess = np.asarray(np.linalg.inv(grown[1]) @ start @ grown[0], np.float32)
    until = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, _TURNS, 1e-5)
    seen = np.full(two.small[step].shape, 255, np.uint8)
    try:
        _, found = cv2.findTransformECC(
            one.small[step], two.small[step], guess / guess[2, 2], cv2.MOTION_HOMOGRAPHY, until, seen, 5
        )
    except cv2.error:  # it lost its way: no overlap, or nothing to climb on
        return start
    return np.asarray(grown[1] @ np.asarray(found, np.float64) @ np.linalg.inv(grown[0]))


def _view_fault(matrix: Array, one: _View, two: _View, rule: AlignSettings) -> str:
    """Say what is wrong with a homography between two hand-held photos, empty when nothing."""
    width, height = one.size
    corners = np.array([(0, 0, 1), (width - 1, 0, 1), (width - 1, height - 1, 1), (0, height - 1, 1)], np.float64)
    depths, turn = corners @ matrix[2], float(np.linalg.det(matrix))
    if not np.all(np.isfinite(matrix)) or depths.min() * depths.max() <= 0 or turn == 0:
        return "the view changed too much"
    if turn * depths[0] < 0:
        return "one photo is a mirror image of the other"
    scales = np.sqrt(abs(turn) / np.abs(depths) ** 3) * max(one.size) / max(two.size)
    if scales.max() > rule.most_scale or scales.min() < 1 / rule.most_scale:
        return f"the view changed too much: sizes differ by more than {rule.most_scale:g} times"
    shown = float(_covered(two.size, np.asarray(np.linalg.inv(matrix), np.float64), one.size).mean())
    if shown < rule.least_overlap:
        return f"the photos share only {shown:.0%} of the view, at least {rule.least_overlap:.0%} needed"
    return ""


def _judged(
    one: _View, two: _View, matrix: Array, tiles: Tiles, by: str, rule: AlignSettings
) -> Alignment | NotAligned:
    agree, places = int(tiles.agree.sum()), len(tiles.agree)
    if agree < rule.least_matches or agree < rule.least_share * places:
        needed = max(rule.least_matches, int(np.ceil(rule.least_share * places)))
        return NotAligned(f"{_TOO_LITTLE}: {agree} of {places} places agree, {needed} needed")
    if fault := _view_fault(matrix, one, two, rule):
        return NotAligned(fault)
    error = tiles.error * SIDE / max(one.size)
    if error > rule.most_error_px:
        return NotAligned(f"they can be laid over each other to {error:.1f} px only, limit {rule.most_error_px:g} px")
    return Alignment(_back_at_full_size(matrix, one, two), error, agree, by)


def _mirrored(one: _View, two: _View) -> bool:
    return matched(one.contrast, np.ascontiguousarray(two.contrast[:, ::-1]))[1] >= _MIRRORED_MATCHES


def _back_at_full_size(matrix: Array, one: _View, two: _View) -> Array:
    """Turn a homography between the small pictures round, and carry it to full-size pixels."""
    full = one.to_full @ np.linalg.inv(matrix) @ np.linalg.inv(two.to_full)
    return np.asarray(full / full[2, 2], np.float64)
