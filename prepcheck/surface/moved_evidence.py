"""Two to six photos of one view, laid over the first, and how much the light moved between them.

Bright metal flashes and dies as a torch moves, and its scratches flip from light to dark; oxide scatters about the same
from everywhere. `prepcheck.surface.moved_net` tells them apart by what is laid out here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.moved_planes import LEAST_LIGHT, LUMINANCE, MOST_LOGIT
from prepcheck.photo import Photo
from prepcheck.surface.surface_map import SurfaceMap

Planes = NDArray[np.float32]
Mask = NDArray[np.bool_]

_LEAST_SHARED = 100
"""Map pixels that two photos must both see to be compared."""
_LEAST_SHADING = 0.002
"""Standard deviation of log brightness below which a photo shows no shading to compare: rounding to 8 bits."""


@dataclass(frozen=True, eq=False)
class Views:
    """Photos of one view in the frame of the first one's map, (h, w).

    Parameters
    ----------
    chances : ndarray, shape (n, 7, h, w), float32
        Probabilities that the net gave for each photo.
    ground : ndarray, shape (n, h, w), float32
        Probability of ground.
    light : ndarray, shape (n, h, w), float32
        Logarithm of linear brightness, its median over the likely ground taken off: exposure cancels.
    covers, seen : ndarray, shape (n, h, w), bool
        Where a photo reaches; where it also is not burnt out. A place seen in none counts as seen in the first.
    burnt : ndarray, shape (h, w), bool
        Places seen in no photo.
    """

    chances: Planes = field(repr=False)
    ground: Planes = field(repr=False)
    light: Planes = field(repr=False)
    covers: Mask = field(repr=False)
    seen: Mask = field(repr=False)
    burnt: Mask = field(repr=False)

    @property
    def unit(self) -> float:
        """Map pixels for one pixel of a map with a long side of 640: widths of smoothing are multiples of it."""
        return float(max(self.burnt.shape) / 640)

    @cached_property
    def mean(self) -> Planes:
        """Average of the log probabilities over the photos that see a place, shape (7, h, w), summing to 1."""
        logs = np.log(np.clip(self.chances, 1e-6, 1))
        mean = (logs * self.seen[:, None]).sum(axis=0) / self.seen.sum(axis=0)
        powers = np.exp(mean - mean.max(axis=0))
        return np.asarray(powers / powers.sum(axis=0), np.float32)

    @cached_property
    def level(self) -> Planes:
        """Log brightness at the scale of relief and strokes, shape (n, h, w)."""
        return np.stack([blur(one, 1.5 * self.unit) - blur(one, 16 * self.unit) for one in self.light])


def lay_over(photos: Sequence[Photo], maps: Sequence[SurfaceMap], to_first: Sequence[NDArray[np.float64]]) -> Views:
    """Bring the maps and brightness of all photos into the frame of the first one's map.

    Parameters
    ----------
    photos, maps
        Of each photo; the maps hold `chances`.
    to_first : sequence of ndarray, shape (3, 3)
        Homography from full-size pixels of each photo but the first to those of the first.
    """
    first = maps[0]
    matrices = [np.eye(3), *(first.from_map(other, matrix) for other, matrix in zip(maps[1:], to_first, strict=True))]
    size = first.states.shape[::-1]
    chances = np.stack(
        [_warped(stack, matrix, size) for stack, matrix in zip(map(_all_chances, maps), matrices, strict=True)]
    )
    ground = np.stack([_warped(m.ground[None], matrix, size)[0] for m, matrix in zip(maps, matrices, strict=True)])
    light = [_warped(_log_light(p, m)[None], x, size)[0] for p, m, x in zip(photos, maps, matrices, strict=True)]
    covers = np.stack([_covered(m.states.shape, matrix, size) for m, matrix in zip(maps, matrices, strict=True)])
    glare = np.stack(
        [_warped(m.burnt[None].astype(np.float32), x, size)[0] for m, x in zip(maps, matrices, strict=True)]
    )
    seen = covers & (glare <= 0)
    burnt = np.asarray(~seen.any(axis=0), np.bool_)
    seen[0] |= burnt
    return Views(chances, ground, _normalised(np.stack(light), covers, ground), covers, seen, burnt)


def log_odds(chance: Planes) -> Planes:
    """Return ln(p / (1 - p)), cut to -7..7."""
    p = np.clip(chance, 1e-6, 1 - 1e-6)
    return np.asarray(np.clip(np.log(p) - np.log1p(-p), -MOST_LOGIT, MOST_LOGIT), np.float32)


def average(planes: Planes, where: Mask) -> Planes:
    """Average planes (n, h, w) over the photos in which a place is seen."""
    return np.asarray((planes * where).sum(axis=0) / np.maximum(where.sum(axis=0), 1), np.float32)


def blur(plane: Planes, sigma: float) -> Planes:
    """Smooth a plane (h, w); wide smoothing at a quarter of the size."""
    if sigma < 6:
        return np.asarray(cv2.GaussianBlur(plane, (0, 0), sigma), np.float32)
    height, width = plane.shape
    small = cv2.resize(plane, (max(1, width // 4), max(1, height // 4)), interpolation=cv2.INTER_AREA)
    smooth = cv2.GaussianBlur(small, (0, 0), sigma / 4)
    return np.asarray(cv2.resize(smooth, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)


def movement(views: Views) -> float:
    """Return how much the light moved: the most, over pairs of photos, by which their shading differs.

    It is 1 - r with r the correlation of log brightness at the scale of relief and strokes (between 1.5 and 16 px of a map
    640 px long), over places that both photos see: 0 for the same light at any exposure, 1 for nothing in common. On own
    sets this told a moved torch from a still one better than the spread of the brightness ratio.
    """
    level = views.level
    pairs = combinations(range(len(level)), 2)
    return max((_unlike(level[i], level[j], views.seen[i] & views.seen[j]) for i, j in pairs), default=0.0)


def _unlike(one: Planes, other: Planes, where: Mask) -> float:
    a, b = one[where], other[where]
    if a.size < _LEAST_SHARED or min(a.std(), b.std()) < _LEAST_SHADING:
        return 0.0
    return float(1 - np.corrcoef(a, b)[0, 1])


def _warped(planes: Planes, matrix: NDArray[np.float64], size: tuple[int, ...]) -> Planes:
    same = np.allclose(matrix, np.eye(3)) and planes.shape[:0:-1] == tuple(size)
    if same:
        return planes
    flags, border = cv2.INTER_LINEAR, cv2.BORDER_REPLICATE
    return np.stack([cv2.warpPerspective(one, matrix, size, flags=flags, borderMode=border) for one in planes])


def _covered(shape: tuple[int, ...], matrix: NDArray[np.float64], size: tuple[int, ...]) -> Mask:
    whole = np.ones(shape, np.float32)
    return np.asarray(cv2.warpPerspective(whole, matrix, size, flags=cv2.INTER_LINEAR) > 0.99)


def _all_chances(surface: SurfaceMap) -> Planes:
    if surface.chances is None:
        raise ValueError("a surface map without chances cannot be fused")
    return surface.chances


def _log_light(photo: Photo, surface: SurfaceMap) -> Planes:
    """Log of linear brightness at the map's size; sRGB decoded by a power of 2.2, near enough here."""
    size = surface.states.shape[::-1]
    rgb = cv2.resize(photo.rgb, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    luminance = cv2.transform(np.power(rgb, 2.2), np.array([LUMINANCE]))
    return np.asarray(np.log(luminance + LEAST_LIGHT), np.float32)


def _normalised(light: Planes, covers: Mask, ground: Planes) -> Planes:
    likely = _likely_ground(ground, covers)
    return np.stack([one - np.median(one[inside if (inside := likely & there).any() else there] if there.any() else one)
                     for one, there in zip(light, covers, strict=True)])  # fmt: skip


def _likely_ground(ground: Planes, covers: Mask) -> Mask:
    return np.asarray(average(ground, covers) > 0.5)
