"""Seeded pictures of the scale card with their true homography, in plain OpenCV."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo import card_design as design
from prepcheck.photo.card_image import card_image

Array = NDArray[np.float64]
FINE = 3
"""Card pixels drawn per pixel of the picture, then averaged."""
KINDS = 6
"""Different sheets of metal and fields of noise."""


@dataclass(frozen=True)
class View:
    """How a card is photographed.

    Share of the frame's width, angles in degrees, blur (standard deviation) in px, noise of 255, JPEG quality, index of
    the covered marker, depth of a shadow, fall-off of light over a card, focal length per long side, place, colour.
    """

    share: float
    tilt: float
    turn: float = 0.0
    lean: float = 0.0
    blur: float = 0.6
    noise: float = 3.0
    quality: int = 85
    covered: int | None = None
    shadow: float = 1.0
    slope: float = 0.0
    lens: float = 0.75
    at: tuple[float, float] = (0.5, 0.5)
    light: tuple[float, float, float] = (1.0, 1.0, 1.0)


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture with the true homography from mm on the card to its pixels."""

    rgb: NDArray[np.uint8]
    from_mm: Array

    def mm_per_px(self, x: float, y: float) -> float:
        to_mm = np.linalg.inv(self.from_mm)
        depth = to_mm[2] @ (x, y, 1.0)
        return float(np.sqrt(abs(np.linalg.det(to_mm) / depth**3)))

    def to_px(self, mm: Array) -> Array:
        ends = np.c_[mm, np.ones(len(mm))] @ self.from_mm.T
        return ends[:, :2] / ends[:, 2:]

    @property
    def card_middle(self) -> Array:
        return self.to_px(design.outline().mean(axis=0)[None])[0]

    def holds_card(self, margin: float = 2.0) -> bool:
        corners = self.to_px(design.outline())
        height, width = self.rgb.shape[:2]
        return bool((corners > margin).all() and (corners < (width - margin, height - margin)).all())


def homography(view: View, width: int, height: int) -> Array:
    """From mm on the card to px, through a camera that looks along the middle of the picture."""
    focal = view.lens * max(width, height)
    distance = focal * design.WIDTH / (view.share * width)
    lean, tilt, turn = np.radians([view.lean, view.tilt, view.turn])
    axis = np.array([np.cos(lean), np.sin(lean), 0.0]) * tilt
    spin = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0.0, 0.0, turn]))[0]
    middle = np.array([(view.at[0] - 0.5) * width, (view.at[1] - 0.5) * height, focal]) * distance / focal
    card = np.array([(1, 0, -design.WIDTH / 2), (0, 1, -design.HEIGHT / 2), (0, 0, 0), (0, 0, 1)], np.float64)
    camera = np.array([(focal, 0, (width - 1) / 2), (0, focal, (height - 1) / 2), (0, 0, 1)], np.float64)
    whole = camera @ np.c_[spin, middle] @ card
    return whole / whole[2, 2]


def photograph(view: View, seed: int, width: int = 2560, height: int = 1920) -> Picture:
    """Draw the card on a brushed sheet of metal, light it, blur it, add noise, save and reopen it as JPEG."""
    rng = np.random.default_rng(seed)
    from_mm = homography(view, width, height)
    light = _metal(seed % KINDS, width, height).copy()
    _lay(light, from_mm, _card(view))
    if view.covered is not None:
        _cover(light, from_mm, view.covered, rng)
    light *= _lighting(view, rng, width, height)
    light = cv2.GaussianBlur(light, (0, 0), view.blur)
    colour = _gamma(light[..., None] * np.array(view.light, np.float32))
    colour += _noise(seed % KINDS, width, height)[..., None] * view.noise
    levels = np.clip(np.rint(colour), 0, 255).astype(np.uint8)
    _, data = cv2.imencode(".jpg", levels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, view.quality])
    return Picture(cv2.imdecode(data, cv2.IMREAD_COLOR_RGB), from_mm)


@lru_cache(maxsize=KINDS)
def _noise(seed: int, width: int, height: int) -> NDArray[np.float32]:
    return np.random.default_rng(1000 + seed).standard_normal((height, width), np.float32)


@lru_cache(maxsize=KINDS)
def _metal(seed: int, width: int, height: int) -> NDArray[np.float32]:
    """Linear light of metal with scratches one way and clouds."""
    rng = np.random.default_rng(2000 + seed)
    scratches = cv2.GaussianBlur(rng.standard_normal((height, width), np.float32), (0, 0), sigmaX=12, sigmaY=0.7)
    clouds = cv2.resize(rng.standard_normal((12, 16), np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
    return np.clip(0.3 + 0.9 * scratches + 0.06 * clouds, 0.02, 1.0)


def _card(view: View) -> tuple[NDArray[np.float32], float]:
    px_per_mm = float(np.clip(view.share * 2560 / design.WIDTH * FINE, 4.0, 24.0))
    levels = card_image(px_per_mm).astype(np.float32) / 255
    return 0.85 * np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4) + 0.02, px_per_mm


def _lay(light: NDArray[np.float32], from_mm: Array, card: tuple[NDArray[np.float32], float]) -> None:
    """Draw the card into `light`, finer than its pixels and averaged."""
    image, px_per_mm = card
    height, width = light.shape
    corners = cv2.perspectiveTransform(design.outline()[None], from_mm)[0]
    x0, y0 = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 2, 0)
    x1, y1 = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 3, (width, height))
    if x1 <= x0 or y1 <= y0:
        return
    texture = np.array([(1 / px_per_mm, 0, 0.5 / px_per_mm), (0, 1 / px_per_mm, 0.5 / px_per_mm), (0, 0, 1)])
    zoom = np.array([(FINE, 0, (0.5 - x0) * FINE - 0.5), (0, FINE, (0.5 - y0) * FINE - 0.5), (0, 0, 1)])
    size = (int(x1 - x0) * FINE, int(y1 - y0) * FINE)
    whole = zoom @ from_mm @ texture
    drawn = cv2.warpPerspective(image, whole, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    there = cv2.warpPerspective(np.ones_like(image), whole, size, flags=cv2.INTER_LINEAR)
    small = (int(x1 - x0), int(y1 - y0))
    drawn, there = (cv2.resize(a, small, interpolation=cv2.INTER_AREA) for a in (drawn * there, there))
    light[y0:y1, x0:x1] = light[y0:y1, x0:x1] * (1 - there) + drawn


def _cover(light: NDArray[np.float32], from_mm: Array, index: int, rng: np.random.Generator) -> None:
    """Lay a thumb over one corner of the card."""
    corner = np.array(design.CORNERS[index]) + design.MARKER / 2
    out = np.sign(corner - (design.WIDTH / 2, design.HEIGHT / 2))
    angles = np.linspace(0, 2 * np.pi, 60)
    reach = rng.uniform(14, 20)
    mm = corner + out * rng.uniform(0, 6, 2) + reach * np.c_[np.cos(angles), np.sin(angles)]
    px = cv2.perspectiveTransform(mm[None], from_mm)[0]
    cv2.fillPoly(light, [np.rint(px * 16).astype(np.int32)], float(rng.uniform(0.15, 0.35)), cv2.LINE_AA, 4)


def _lighting(view: View, rng: np.random.Generator, width: int, height: int) -> NDArray[np.float32]:
    """Light falling off across the picture, and a soft-edged shadow through the card."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    way = rng.uniform(0, 2 * np.pi)
    across = ((x / width - view.at[0]) * np.cos(way) + (y / height - view.at[1]) * np.sin(way)).astype(np.float32)
    light = np.exp(view.slope * across / max(view.share, 0.1))
    if view.shadow < 1.0:
        way = rng.uniform(0, 2 * np.pi)
        across = (x - view.at[0] * width) * np.cos(way) + (y - view.at[1] * height) * np.sin(way)
        edge = rng.uniform(1, 0.1 * view.share * width)
        light *= view.shadow + (1 - view.shadow) / (1 + np.exp(np.clip(-across / edge, -30, 30)))
    return light


def _gamma(light: NDArray[np.float32]) -> NDArray[np.float32]:
    light = np.clip(light, 0.0, 1.0)
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
