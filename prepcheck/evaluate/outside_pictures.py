"""Seeded pictures that show no ground aluminium: textures and surfaces on which no spot may ever be called bright.

Made with numpy and OpenCV alone; nothing here is a model of how such things really reflect, only of how they look.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float64]
Raster = NDArray[np.uint8]
Rng = np.random.Generator
SIZE = (720, 960)


def make_outsider(kind: str, seed: int, shape: tuple[int, int] = SIZE) -> Raster:
    """Make a picture, shape (*shape, 3), uint8, of one of `KINDS`; the same arguments give the same picture."""
    rng = np.random.default_rng([sorted(KINDS).index(kind), seed])
    return np.clip(KINDS[kind](rng, shape), 0, 255).astype(np.uint8)


def clouds(rng: Rng, shape: tuple[int, int], width: float, height: float | None = None) -> Field:
    """Make smooth noise of mean 0 and deviation 1, of features `width` (and `height`) pixels wide; shape (h, w)."""
    height = width if height is None else height
    rows, cols = (max(3, round(side / max(1.0, of)) + 2) for side, of in zip(shape, (height, width), strict=True))
    field = cv2.resize(rng.normal(size=(rows, cols)), shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray((field - field.mean()) / max(field.std(), 1e-9))


def _grid(shape: tuple[int, int]) -> tuple[Field, Field]:
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float64)
    return y, x


def _tinted(grey: Field, colour: NDArray[np.float64]) -> Field:
    return np.asarray(grey[..., None] * colour)


def _lit(rng: Rng, shape: tuple[int, int], strength: float = 0.3) -> Field:
    """Make the falling off of light over a flat surface, about 1."""
    y, x = _grid(shape)
    turn = rng.uniform(0, 2 * np.pi)
    return np.asarray(1 + strength * ((x / shape[1] - 0.5) * np.cos(turn) + (y / shape[0] - 0.5) * np.sin(turn)))


def _noise(rng: Rng, shape: tuple[int, int]) -> Field:
    mean, spread = rng.uniform(60, 200), rng.uniform(5, 70)
    grey = rng.random() < 0.5
    return mean + spread * rng.normal(size=(*shape, 1 if grey else 3)) * np.ones(3)


def _soft_noise(rng: Rng, shape: tuple[int, int]) -> Field:
    widths = 2.0 ** np.arange(1, 9)
    field = sum(clouds(rng, shape, float(width)) * width ** rng.uniform(0.2, 0.8) for width in widths)
    return _tinted(130 + 45 * (field / np.std(field)), rng.uniform(0.9, 1.1, 3))


def _gradient(rng: Rng, shape: tuple[int, int]) -> Field:
    low, high = rng.uniform(0, 255, 3), rng.uniform(0, 255, 3)
    ramp = np.clip((_lit(rng, shape, 1.0) - 0.5), 0, 1)[..., None]
    return low + (high - low) * ramp + rng.normal(0, 1, (*shape, 1))


def _fabric(rng: Rng, shape: tuple[int, int]) -> Field:
    y, x = _grid(shape)
    period = rng.uniform(5, 14)
    weave = np.sin(2 * np.pi * x / period) * np.sign(np.sin(np.pi * y / period)) + np.sin(2 * np.pi * y / period)
    folds = 25 * clouds(rng, shape, 200)
    return _tinted(120 + 22 * weave + folds + rng.normal(0, 8, shape), rng.uniform(0.5, 1.3, 3))


def _skin(rng: Rng, shape: tuple[int, int]) -> Field:
    tone = rng.uniform(0.35, 1.0) * np.array([235.0, 185.0, 160.0])
    creases = -np.abs(clouds(rng, shape, 9, 22)) * 6
    return (
        _tinted(_lit(rng, shape, 0.6), tone)
        + (creases + 6 * clouds(rng, shape, 90) + rng.normal(0, 3, shape))[..., None]
    )


def _paper(rng: Rng, shape: tuple[int, int]) -> Field:
    page = 232 * _lit(rng, shape, 0.25) + rng.normal(0, 2, shape)
    row = rng.uniform(18, 30)
    y, x = _grid(shape)
    words = clouds(rng, shape, 12, 9) > rng.uniform(0.2, 0.6)
    written = (y % row < 0.45 * row) & words & (np.abs(x / shape[1] - 0.5) < 0.4)
    return _tinted(np.where(written, 45.0, page), np.array([1.0, 0.99, 0.96]))


def _painted_metal(rng: Rng, shape: tuple[int, int]) -> Field:
    colour = rng.uniform(40, 230, 3)
    peel = 2.0 * clouds(rng, shape, 7)
    y, x = _grid(shape)
    far = np.hypot((x - rng.uniform(0, shape[1])) / shape[1], (y - rng.uniform(0, shape[0])) / shape[0])
    gloss = 160 * np.exp(-((far / rng.uniform(0.06, 0.25)) ** 2))
    return _tinted(_lit(rng, shape, 0.5), colour) + _tinted(peel + gloss + rng.normal(0, 2, shape), np.ones(3))


def _white_wall(rng: Rng, shape: tuple[int, int]) -> Field:
    plaster = rng.uniform(1, 6) * clouds(rng, shape, rng.uniform(4, 20)) + 4 * clouds(rng, shape, 160)
    grey = rng.uniform(170, 228) * _lit(rng, shape, 0.3) + plaster + rng.normal(0, 2, shape)
    return _tinted(grey, rng.uniform(0.96, 1.02, 3))


def _mirror(rng: Rng, shape: tuple[int, int]) -> Field:
    """Smooth polished metal that mirrors a bent room: bands, a bright window, dark things."""
    y, x = _grid(shape)
    bent = y / shape[0] + 0.08 * clouds(rng, shape, 300) + 0.15 * np.sin(2 * np.pi * x / shape[1] + rng.uniform(0, 6))
    bands = np.interp(bent, np.linspace(-0.3, 1.3, 9), rng.uniform(20, 245, 9))
    window = 120 * (
        (np.abs(bent - rng.uniform(0.2, 0.8)) < 0.06) & (np.abs(x / shape[1] - rng.uniform(0.3, 0.7)) < 0.2)
    )
    soft = cv2.GaussianBlur(bands + window, (0, 0), rng.uniform(1, 6))
    return _tinted(soft + rng.normal(0, 2, shape), rng.uniform(0.95, 1.03, 3))


def _spangle(rng: Rng, shape: tuple[int, int]) -> Field:
    """Hot-dip galvanised sheet: flat crystals, each of one grey with a fine grain of its own direction."""
    cell = rng.uniform(22, 60)
    count = int(np.prod(shape) / cell**2)
    seeds = np.ones(shape, np.uint8)
    seeds[rng.integers(0, shape[0], count), rng.integers(0, shape[1], count)] = 0
    _, labels = cv2.distanceTransformWithLabels(seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    tone, turn = rng.normal(150, 24, labels.max() + 1)[labels], rng.uniform(0, np.pi, labels.max() + 1)[labels]
    y, x = _grid(shape)
    grain = 8 * np.sin((x * np.cos(turn) + y * np.sin(turn)) * rng.uniform(0.6, 1.2))
    return _tinted(
        cv2.GaussianBlur(tone + grain, (0, 0), 0.8) * _lit(rng, shape) + rng.normal(0, 3, shape),
        np.array([0.98, 1, 1.02]),
    )


def _brick(rng: Rng, shape: tuple[int, int]) -> Field:
    y, x = _grid(shape)
    high = rng.uniform(40, 90)
    row = np.floor(y / high)
    along = x / (2.4 * high) + 0.5 * (row % 2)
    joint = (y % high < 0.12 * high) | ((along % 1) < 0.05)
    tones = rng.normal(1, 0.12, 997)[((row * 31 + np.floor(along) * 17) % 997).astype(int)]
    body = tones * (1 + 0.07 * clouds(rng, shape, 5)) + 0.06 * clouds(rng, shape, 40)
    return np.where(
        joint[..., None], 165 + 8 * clouds(rng, shape, 4)[..., None], _tinted(body, np.array([158.0, 84, 62]))
    )


def _wood(rng: Rng, shape: tuple[int, int]) -> Field:
    y, x = _grid(shape)
    wavy = y + 14 * clouds(rng, shape, 400, 120) + 0.01 * x
    rings = np.sin(2 * np.pi * wavy / rng.uniform(16, 50)) + 0.5 * clouds(rng, shape, 160, 3)
    tone = rng.uniform(0.5, 1.1) * np.array([196.0, 150, 102])
    return _tinted(1 + 0.13 * rings, tone) + rng.normal(0, 3, (*shape, 1))


KINDS: dict[str, Callable[[Rng, tuple[int, int]], Field]] = {
    "noise": _noise,
    "soft noise": _soft_noise,
    "gradient": _gradient,
    "fabric": _fabric,
    "skin": _skin,
    "paper": _paper,
    "painted metal": _painted_metal,
    "white wall": _white_wall,
    "mirror": _mirror,
    "galvanised spangle": _spangle,
    "brick": _brick,
    "wood": _wood,
}
