"""One photo laid over another of the same view: a moved torch, a hand that shook, another grinding pass.

What a lamp does to ground metal moves with the lamp; edges, scratches and the rims of patches stay. So photos are compared
by the strength of their local contrast, evened out over the picture, and the answer is checked piece by piece: tiles of the
first photo are looked for in the other one, and enough of them have to lie where the answer says.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo.align_features import Points, matched, points
from prepcheck.photo.align_tiles import Tiles, corrected, drawn_from_afar, look_for_tiles
from prepcheck.photo.card import CardFind, find_card, plane_of
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
_ASTRAY = 30
"""Tiles that have to agree, or the climb may have gone astray."""
_ENOUGH = 12
"""Agreeing tiles from which the estimated error says more than their number."""

_CORRECTIONS = 3
_NEAR_PX = 5.0
"""Between the corners of two starts that climb to the same place."""
_STAYS_PX = 0.1
"""Correction, at the corners, after which no other is worth the look."""
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
    by : {"card", "features", "known"}
        ``card`` when the scale card in both photos gave the start, and the surface bears it out; ``known`` when the way was
        not looked for, as in scenes made with it.
    """

    matrix: Array = field(repr=False)
    error_px: float = 0.0
    matches: int = 0
    by: str = "known"


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

    @cached_property
    def points(self) -> Points:
        return points(self.contrast, self.strength > 0)


@dataclass(frozen=True, eq=False)
class Ready:
    """A photo to be laid on others, or others on it: what that takes is made when first needed, and kept.

    Parameters
    ----------
    photo : Photo
        Of any size and orientation.
    card : ndarray, shape (3, 3), float64, or None
        Homography from its pixels at full size to mm on the scale card, where one lies in it. A doubtful card gives a start
        too: the surface has to agree.
    mask : ndarray, shape (h, w), bool, optional
        What to ignore (something that moves), at any size with the photo's aspect; True is ignored.
    """

    photo: Photo
    card: Array | None = field(default=None, repr=False)
    mask: Mask | None = field(default=None, repr=False)

    @cached_property
    def view(self) -> _View:
        """The photo as it is compared."""
        return _view(self.photo, self.card, self.mask)


def ready(
    photo: Photo, settings: Settings, *, find: CardFind | Literal["look"] | None = "look", mask: Mask | None = None
) -> Ready:
    """Make a photo ready that takes part in several alignments.

    Parameters
    ----------
    photo : Photo
        With its plane, when that is known from its card.
    settings : Settings
        How a scale card is looked for.
    find : CardFind, None or "look"
        The card in ``photo.rgb`` where it was looked for already, None when there is none.
    mask : ndarray, shape (h, w), bool, optional
        As in `Ready`.
    """
    if photo.plane is not None and photo.plane.source == "card":
        return Ready(photo, photo.plane.to_mm, mask)
    found = find_card(photo.rgb, settings.card) if find == "look" else find
    return Ready(photo, None if found is None else plane_of(found, photo.reduction).to_mm, mask)


def align(first: Photo | Ready, other: Photo | Ready, settings: Settings) -> Alignment | NotAligned:
    """Find how `other` lies on `first`.

    Parameters
    ----------
    first, other : Photo or Ready
        Of any size and orientation; `ready` when they take part in several alignments.
    settings : Settings
        `AlignSettings`: how sure the answer has to be.

    Returns
    -------
    Alignment or NotAligned
        The latter when the photos show too little in common, lie too differently, are mirrored, or the estimated error
        is over the limit.
    """
    both = [one if isinstance(one, Ready) else ready(one, settings) for one in (first, other)]
    one, two = (each.view for each in both)
    if min(float(one.strength.max()), float(two.strength.max())) < 0.1:
        return NotAligned("one of the two photos shows no detail to lay them over each other by")
    best: Alignment | NotAligned = NotAligned(_TOO_LITTLE)
    rank = (False, 0.0)
    settled: list[Array] = []
    for by, start in _starts(one, two, [each.card for each in both]):
        if isinstance(best, Alignment) and any(_near(start, there, one.size) for there in settled):
            continue
        matrix, tiles = _settled(one, two, start)
        settled.append(matrix)
        found = _judged(one, two, matrix, tiles, by, settings.align)
        if isinstance(found, Alignment) and found.error_px <= _GOOD_PX:
            return found
        its_rank = (True, -found.error_px) if isinstance(found, Alignment) else (False, float(tiles.agree.sum()))
        if its_rank > rank:
            rank, best = its_rank, found
    if isinstance(best, NotAligned) and _mirrored(one, two):
        return NotAligned("one photo is a mirror image of the other")
    return best


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
    apart = light - _smeared(light, 10.0)
    usual = np.sqrt(np.maximum(_smeared(apart * apart, 20.0), 0)) + np.float32(0.03)
    return np.asarray(np.clip(apart / usual, -3, 3), np.float32)


def _smeared(plane: Plain, sigma: float) -> Plain:
    """Smooth widely, at a quarter of the size."""
    height, width = plane.shape
    small = cv2.resize(plane, (max(1, width // 4), max(1, height // 4)), interpolation=cv2.INTER_AREA)
    smooth = cv2.GaussianBlur(small, (0, 0), sigma / 4)
    return np.asarray(cv2.resize(smooth, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)


def _strength(contrast: Plain) -> Plain:
    """How strongly the contrast changes at a pixel, whichever side is the brighter one."""
    smooth = cv2.GaussianBlur(contrast, (0, 0), 1.2)
    across, down = (cv2.Sobel(smooth, cv2.CV_32F, *way) for way in ((1, 0), (0, 1)))
    slope = np.asarray(cv2.magnitude(across, down), np.float32)
    return np.asarray(slope / (_smeared(slope, 20.0) + np.float32(0.05)), np.float32)


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
    by_features, _ = matched(one.points, two.points)
    if by_features is not None:
        yield "features", by_features


def _near(start: Array, settled: Array, size: tuple[int, int]) -> bool:
    """Say whether a climb from `start` would lead to where an earlier one settled."""
    corners = np.array([[(0, 0), (size[0], 0), (size[0], size[1]), (0, size[1])]], np.float64)
    ends = [cv2.perspectiveTransform(corners, matrix) for matrix in (start, settled)]
    return bool(np.abs(ends[0] - ends[1]).max() < _NEAR_PX)


def _laid_on(size: tuple[int, int], other: tuple[int, int]) -> Array:
    """Centre on centre, long side as long as long side."""
    scale = max(other) / max(size)
    x, y = ((b - 1) / 2 - scale * (a - 1) / 2 for a, b in zip(size, other, strict=True))
    return np.array([(scale, 0.0, x), (0.0, scale, y), (0.0, 0.0, 1.0)])


def _settled(one: _View, two: _View, start: Array) -> tuple[Array, Tiles]:
    """Climb from `start` on ever larger pictures, then go where the tiles are found; without the climb if that goes astray."""
    matrix = start
    for step in _STEPS:
        matrix = _climbed(one, two, matrix, step)
    climbed = _by_tiles(one, two, matrix)
    if climbed[1].agree.sum() >= _ASTRAY:
        return climbed
    return max(climbed, _by_tiles(one, two, start), key=lambda found: _how_well(found[1]))


def _how_well(tiles: Tiles) -> tuple[int, float]:
    """Rank by the tiles that agree, and once there are enough of them by the error."""
    return min(int(tiles.agree.sum()), _ENOUGH), -tiles.error


def _by_tiles(one: _View, two: _View, matrix: Array) -> tuple[Array, Tiles]:
    """Move `matrix` to where the tiles are found, from afar first, as long as that moves it."""
    matrix = drawn_from_afar(one.strength, two.strength, matrix)
    tiles = look_for_tiles(one.strength, two.strength, matrix)
    for _ in range(_CORRECTIONS):
        better, moved = corrected(matrix, tiles)
        if moved < _STAYS_PX:
            break
        matrix, tiles = better, look_for_tiles(one.strength, two.strength, better)
    return matrix, tiles


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
    mirror = points(np.ascontiguousarray(two.contrast[:, ::-1]), two.strength[:, ::-1] > 0)
    return matched(one.points, mirror)[1] >= _MIRRORED_MATCHES


def _back_at_full_size(matrix: Array, one: _View, two: _View) -> Array:
    """Turn a homography between the small pictures round, and carry it to full-size pixels."""
    full = one.to_full @ np.linalg.inv(matrix) @ np.linalg.inv(two.to_full)
    return np.asarray(full / full[2, 2], np.float64)
