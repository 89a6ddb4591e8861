"""What lies behind or instead of a part: concrete, wood, brick, cloth, carpet, paper, skin, gradients, or a photograph."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import Layers
from prepcheck.synth.noise import Field, by_cell, cells, clouds, log_uniform, places, ramp, smooth

Colour = NDArray[np.float64]


def lay_floor(rng: np.random.Generator, layers: Layers, kind: str | None = None) -> str:
    """Fill the layers with a backdrop (a name of `FLOORS`, drawn when None), state untouched; returns its name."""
    kind = kind or str(rng.choice(list(FLOORS)))
    layers.alpha_u[:] = layers.alpha_v[:] = log_uniform(rng, 0.2, 0.9)
    base = FLOORS[kind](rng, layers)
    stains = clouds(rng, layers.shape, log_uniform(rng, 30, 300), 6, 0.6)
    dirt = np.exp(np.float32(log_uniform(rng, 0.01, 0.18)) * stains)
    layers.base[:] = np.clip(base * dirt[..., None], 0.004, 0.92)
    return kind


def paste_photo(rng: np.random.Generator, layers: Layers, path: str | Path) -> bool:
    """Paste a random piece of a photograph as flat matt colour; False when the file cannot be read as a picture."""
    image = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if image is None:
        return False
    rows, cols = layers.shape
    side = float(log_uniform(rng, 0.35, 1.0))
    fit = min(image.shape[1] / cols, image.shape[0] / rows) * side
    width, height = max(2, int(cols * fit)), max(2, int(rows * fit))
    x, y = rng.integers(0, image.shape[1] - width + 1), rng.integers(0, image.shape[0] - height + 1)
    piece = image[y : y + height, x : x + width, ::-1]
    piece = piece[:, ::-1] if rng.random() < 0.5 else piece
    flat = cv2.resize(
        np.ascontiguousarray(piece), (cols, rows), interpolation=cv2.INTER_AREA if fit > 1 else cv2.INTER_CUBIC
    )
    linear = np.power(flat.astype(np.float32) / 255, 2.2) * np.float32(log_uniform(rng, 0.6, 1.3))
    layers.base[:] = np.clip(linear, 0.004, 0.92)
    layers.metal[:] = layers.height[:] = layers.bend_x[:] = layers.bend_y[:] = 0.0
    layers.alpha_u[:] = layers.alpha_v[:] = 0.8
    layers.cavity[:] = 1.0
    return True


def _colour(rng: np.random.Generator, low: float = 0.03, high: float = 0.6) -> Colour:
    warm = rng.normal(0.06, 0.15)
    return np.asarray(log_uniform(rng, low, high) * np.exp(np.asarray([warm, 0, -warm]) + rng.normal(0, 0.05, 3)))


def _concrete(rng: np.random.Generator, layers: Layers) -> Field:
    cell = max(log_uniform(rng, 1, 10) / layers.mm_per_px, 3)
    grain = clouds(rng, layers.shape, cell, 3, 0.8)
    stones = ramp(clouds(rng, layers.shape, cell, 2), 1.0, 1.6)
    layers.height[:] = grain * np.float32(0.03 * layers.mm_per_px)
    tone = np.exp(rng.uniform(0.03, 0.25) * grain + rng.normal(0, 0.3) * stones)
    return np.asarray(tone[..., None] * _colour(rng, 0.08, 0.5), np.float32)


def _wood(rng: np.random.Generator, layers: Layers) -> Field:
    shape, (xs, ys) = layers.shape, places(layers.shape)
    turned = rng.random() < 0.5
    across = (ys if turned else xs) + 6 * clouds(rng, shape, 400, 2)
    grain_noise = smooth(rng, shape, (60, 400) if turned else (400, 60))
    pitch = np.float32(rng.uniform(6, 40))
    rings = np.sin(across * 6.28 / pitch + 2.5 * grain_noise)
    fine = smooth(rng, shape, (2, 90) if turned else (90, 2))
    wide = np.float32(rng.uniform(80, 500))
    plank = np.floor(across / wide + 0.3)
    gap = ramp(np.abs(np.mod(across / wide + 0.3, 1) - 0.5), 0.485, 0.497) * np.float32(rng.uniform(0, 0.9))
    tone = np.take(rng.uniform(0.75, 1.2, 64).astype(np.float32), plank.astype(np.int32) & 63)
    grain = np.exp(rng.uniform(0.02, 0.3) * rings + rng.uniform(0.02, 0.2) * fine) * tone * (1 - gap)
    colour = np.asarray((0.42, 0.27, 0.14)) * rng.uniform(0.3, 1.3) + rng.uniform(0, 0.12)
    layers.height[:] = fine * np.float32(0.02 * layers.mm_per_px)
    return np.asarray(grain[..., None] * colour, np.float32)


def _brick(rng: np.random.Generator, layers: Layers) -> Field:
    """Bricks, blocks or tiles with joints."""
    xs, ys = places(layers.shape)
    high = np.float32(rng.uniform(25, 160))
    wide = high * np.float32(rng.choice([1.0, 2.0, 3.0]))
    row = np.floor(ys / high)
    column = np.floor((xs + wide * 0.5 * np.mod(row, 2)) / wide)
    fx, fy = (xs + wide * 0.5 * np.mod(row, 2)) / wide - column, ys / high - row
    gap = np.minimum(np.minimum(fx, 1 - fx) * wide, np.minimum(fy, 1 - fy) * high)
    joint = 1 - ramp(gap - 1, 0.02 * float(high), 0.06 * float(high))
    one = np.take(rng.normal(0, 1, 256).astype(np.float32), (row * 31 + column * 7).astype(np.int32) & 255)
    grain = clouds(rng, layers.shape, 12, 4, 0.7)
    base = np.exp(rng.uniform(0.0, 0.25) * one + rng.uniform(0.02, 0.2) * grain)[..., None] * _colour(rng, 0.08, 0.7)
    layers.height[:] = -joint * np.float32(3 * layers.mm_per_px)
    return np.asarray(base + joint[..., None] * (_colour(rng, 0.1, 0.5) - base), np.float32)


def _cloth(rng: np.random.Generator, layers: Layers) -> Field:
    """Woven cloth in folds, striped or checked at times."""
    xs, ys = places(layers.shape)
    thread = np.float32(6.28 / rng.uniform(3, 14))
    warp = np.float32(rng.uniform(1, 5)) * clouds(rng, layers.shape, rng.uniform(150, 500), 2)
    weave = np.sin((xs + warp) * thread) * np.sin((ys - warp) * thread)
    fold = clouds(rng, layers.shape, rng.uniform(60, 400), 3, 0.5)
    layers.height[:] = (fold * rng.uniform(0, 25) + weave * 0.3) * layers.mm_per_px
    base = np.exp(rng.uniform(0.02, 0.25) * weave)[..., None] * _colour(rng, 0.02, 0.7) * np.exp(rng.normal(0, 0.3, 3))
    if rng.random() < 0.4:
        stripe = ramp(np.sin((xs + warp * 3) * np.float32(6.28 / rng.uniform(15, 120))), -0.1, 0.1)
        if rng.random() < 0.5:
            stripe = 0.5 * stripe + 0.5 * ramp(
                np.sin((ys + warp * 3) * np.float32(6.28 / rng.uniform(15, 120))), -0.1, 0.1
            )
        base = base + stripe[..., None] * (_colour(rng) * np.exp(rng.normal(0, 0.4, 3)) - base)
    return np.asarray(base, np.float32)


def _carpet(rng: np.random.Generator, layers: Layers) -> Field:
    """Pile, gravel, chips, swarf: little cells, each with its tone and slope."""
    number, distance = cells(rng, layers.shape, log_uniform(rng, 4, 40))
    one = by_cell(rng, number)
    tip = np.float32(rng.uniform(0.05, 0.5))
    layers.bend_x[:], layers.bend_y[:] = one * tip, by_cell(rng, number) * tip
    gap = np.clip(distance / np.float32(1.8 * max(float(distance.mean()), 1)), 0, 1.2)
    layers.cavity[:] = 1 - np.clip(gap * rng.uniform(0.2, 0.7), 0, 0.85)
    if rng.random() < 0.2:
        layers.metal[:] = 0.9
        layers.alpha_u[:], layers.alpha_v[:] = 0.15, 0.3
        return np.asarray(np.exp(0.1 * one)[..., None] * rng.uniform(0.5, 0.85), np.float32)
    return np.asarray(
        np.exp(rng.uniform(0.05, 0.6) * one)[..., None] * _colour(rng) * np.exp(rng.normal(0, 0.2, 3)), np.float32
    )


def _paper(rng: np.random.Generator, layers: Layers) -> Field:
    """Paper or cardboard: lines of print, creases."""
    rows, cols = layers.shape
    base = np.ones((rows, cols, 3), np.float32) * _colour(rng, 0.3, 0.85).astype(np.float32)
    ink = np.zeros((rows, cols), np.float32)
    step, size = int(rng.uniform(10, 60)), 1
    for y in range(step, rows, step) if rng.random() < 0.6 else ():
        x = int(rng.uniform(0, 0.2) * cols)
        while x < cols * 0.95:
            size = int(rng.uniform(0.3, 2.5) * step)
            if rng.random() < 0.85:
                cv2.line(ink, (x, y), (x + size, y), float(rng.uniform(0.3, 1)), max(1, step // 4))
            x += size + step // 2
    ink *= ramp(smooth(rng, layers.shape, (2, max(2, step / 6))), -0.6, 0.2)
    layers.height[:] = clouds(rng, layers.shape, 200, 2) * np.float32(rng.uniform(0, 6) * layers.mm_per_px)
    base += ink[..., None] * (rng.uniform(0.01, 0.1, 3).astype(np.float32) - base)
    return base


def _skin(rng: np.random.Generator, layers: Layers) -> Field:
    """Something like a hand, leather or a glove close up."""
    tones = ((0.55, 0.32, 0.22), (0.35, 0.18, 0.11), (0.12, 0.06, 0.04), (0.5, 0.4, 0.22), (0.03, 0.03, 0.035))
    number, distance = cells(rng, layers.shape, log_uniform(rng, 4, 14))
    fold = clouds(rng, layers.shape, log_uniform(rng, 40, 300), 4)
    layers.height[:] = (fold * rng.uniform(1, 20) - 0.15 * distance) * layers.mm_per_px
    flush = clouds(rng, layers.shape, 120, 4)
    shade = 0.1 * flush[..., None] * np.asarray((0.4, 1, 1), np.float32) + 0.02 * by_cell(rng, number)[..., None]
    base = np.asarray(tones[rng.integers(5)]) * np.exp(shade)
    layers.alpha_u[:] = layers.alpha_v[:] = rng.uniform(0.3, 0.5)
    return np.asarray(base, np.float32)


def _plain(rng: np.random.Generator, layers: Layers) -> Field:
    """An even wall, table or sheet of plastic, perhaps in a gradient."""
    xs, ys = places(layers.shape)
    angle = rng.uniform(0, 6.28)
    t = ramp((xs * np.cos(angle) + ys * np.sin(angle)) / layers.shape[1], -0.6, 0.6)[..., None] * rng.uniform(0, 1)
    one, two = (_colour(rng, 0.02, 0.85) * np.exp(rng.normal(0, 0.25, 3)) for _ in range(2))
    layers.alpha_u[:] = layers.alpha_v[:] = log_uniform(rng, 0.05, 0.9)
    return np.asarray(one + t * (two - one), np.float32)


def _mirror(rng: np.random.Generator, layers: Layers) -> Field:
    """Glass, chrome or a wet floor: nothing but reflections."""
    layers.metal[:] = rng.uniform(0.7, 1)
    layers.alpha_u[:] = layers.alpha_v[:] = log_uniform(rng, 0.03, 0.12)
    layers.height[:] = clouds(rng, layers.shape, 300, 2) * np.float32(rng.uniform(0, 3) * layers.mm_per_px)
    return np.full((*layers.shape, 3), rng.uniform(0.4, 0.7), np.float32)


FLOORS: dict[str, Callable[[np.random.Generator, Layers], Field]] = {
    "concrete": _concrete, "wood": _wood, "brick": _brick, "cloth": _cloth, "carpet": _carpet, "paper": _paper,
    "skin": _skin, "plain": _plain, "mirror": _mirror,
}  # fmt: skip


__all__ = ["FLOORS", "lay_floor", "paste_photo"]
