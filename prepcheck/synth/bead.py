"""Weld beads: crescent ripples, uneven width, start and end, tint, soot and spatter beside; all of it is `BEAD`."""

from __future__ import annotations

import cv2
import numpy as np

from prepcheck.synth.layers import BEAD, Layers
from prepcheck.synth.noise import Field, clouds, places, ramp, soft
from prepcheck.terms import State

TINTS = ((0.05, 0.048, 0.045), (0.12, 0.11, 0.1), (0.7, 0.69, 0.67), (0.45, 0.33, 0.16), (0.2, 0.22, 0.4))
"""Soot, smoke, white fume, straw and blue heat tint; linear RGB by eye."""


def lay_bead(rng: np.random.Generator, layers: Layers) -> None:
    """Lay one weld bead, whole across the picture or with ends, or a row of tacks; writes `BEAD`."""
    mm = layers.mm_per_px
    half = max(rng.uniform(1.5, 7) / mm, 3.0)
    u, v = _along(rng, layers, half)
    spacing = np.float32(max(half * rng.uniform(0.2, 0.75), 2.0))
    bow = np.float32(rng.uniform(0.4, 1.1) * rng.choice([-1.0, 1.0]))
    phase = (u + bow * half * np.square(np.clip(v / half, -1.2, 1.2))) / spacing
    phase = phase + 0.35 * clouds(rng, layers.shape, max(4 * half, 8), 3)
    ripple = np.floor(phase)
    jitter = np.take(rng.normal(0, 1, 512).astype(np.float32), ripple.astype(np.int32) & 511)
    wide = half * (1 + 0.08 * jitter + rng.uniform(0.02, 0.12) * clouds(rng, layers.shape, max(6 * half, 8), 3))
    reach = _ends(rng, layers, u, half)
    beyond = np.clip(wide - reach, 0, None)
    inner = 1 - np.sqrt(v * v + beyond * beyond) / wide
    on = ramp(np.asarray(inner, np.float32), 0.0, 0.08)
    _beside(rng, layers, np.asarray(-inner * half, np.float32), half)
    _metal(rng, layers, on, np.asarray(inner, np.float32), phase - ripple, jitter, half)
    layers.state[on >= 0.5] = BEAD


def _along(rng: np.random.Generator, layers: Layers, half: float) -> tuple[Field, Field]:
    """Coordinates along and across a straight or bowed path, pixels."""
    rows, cols = layers.shape
    xs, ys = places(layers.shape)
    angle = rng.uniform(0, np.pi)
    x, y = xs - rng.uniform(-0.3, 0.3) * cols, ys - rng.uniform(-0.3, 0.3) * rows
    u = np.asarray(x * np.cos(angle) + y * np.sin(angle), np.float32)
    v = np.asarray(y * np.cos(angle) - x * np.sin(angle), np.float32)
    v += np.float32(rng.normal(0, 0.15)) * u * u / cols + clouds(rng, layers.shape, 12 * half, 3) * np.float32(
        0.12 * half
    )
    return u, v


def _ends(rng: np.random.Generator, layers: Layers, u: Field, half: float) -> Field:
    """Distance in pixels to the nearest end of the bead, positive on it."""
    draw, cols = rng.random(), layers.shape[1]
    if draw < 0.5:
        return np.full(layers.shape, 1e4, np.float32)
    if draw < 0.8:
        return np.asarray(rng.uniform(0.1, 0.4) * cols - np.abs(u), np.float32)
    step = np.float32(half * rng.uniform(4, 10))
    return np.asarray(half * rng.uniform(0.9, 1.8) - np.abs(np.mod(u, step) - step / 2), np.float32)


def _beside(rng: np.random.Generator, layers: Layers, out: Field, half: float) -> None:
    """Tint and soot next to the bead, and a few spatter drops; strong tint becomes `BEAD`."""
    fade = np.exp(-np.square(np.clip(out, 0, None) / np.float32(half * rng.uniform(0.3, 3))))
    uneven = np.clip(0.7 + 0.35 * clouds(rng, layers.shape, 4 * half, 5, 0.6), 0, 1.2)
    tint = np.asarray(np.clip(fade * uneven * rng.uniform(0.0, 0.95), 0, 1), np.float32)
    hot = np.asarray(TINTS[rng.integers(len(TINTS))]) * rng.uniform(0.7, 1.3)
    layers.mix(tint, base=hot, metal=0.3)
    layers.state[(tint > 0.3) & (layers.state != State.BACKGROUND)] = BEAD
    drops = np.zeros(layers.shape, np.float32)
    for _ in range(int(rng.integers(0, 25)) if rng.random() < 0.4 else 0):
        at = rng.uniform(0, 1, 2) * layers.shape[::-1]
        if out[min(int(at[1]), out.shape[0] - 1), min(int(at[0]), out.shape[1] - 1)] < 6 * half:
            cv2.circle(drops, (int(at[0]), int(at[1])), max(1, int(half * rng.uniform(0.04, 0.2))), 1.0, -1)
    layers.mix(drops, base=0.7, metal=0.8, alpha_u=0.2, alpha_v=0.2)
    layers.height += soft(drops, max(0.08 * half, 1.0)) * np.float32(0.5)
    layers.state[drops >= 0.5] = BEAD


def _metal(
    rng: np.random.Generator, layers: Layers, on: Field, inner: Field, stage: Field, jitter: Field, half: float
) -> None:
    """Give the bead its crown, its ripples with sharp fronts, toes and grain."""
    mm = layers.mm_per_px
    crown = np.sqrt(np.clip(inner * (2 - inner), 0, 1))
    front = np.power(np.clip(stage, 0, 1), np.float32(rng.uniform(0.5, 2.0)))
    dome = half * mm * rng.uniform(0.15, 0.7) * crown
    wave = (front * rng.uniform(0.4, 1) + 0.3 * jitter) * crown * np.float32(half * mm * rng.uniform(0.03, 0.14))
    grain = clouds(rng, layers.shape, max(0.6 / mm, 2.0), 3, 0.8) * np.float32(
        rng.uniform(0.002, 0.02) * min(1, 4 * mm)
    )
    layers.height += on * (dome + wave + grain - layers.height)
    alpha = rng.uniform(0.1, 0.38)
    tone = rng.uniform(0.5, 0.92) * (1 - 0.25 * rng.uniform(0, 1) * (1 - front)) * np.exp(0.06 * jitter)
    film = clouds(rng, layers.shape, max(2 * half, 6), 4)
    metal = np.clip(rng.uniform(0.55, 1.0) - rng.uniform(0, 0.3) * ramp(film, 0, 1.5), 0, 1)
    layers.mix(on, base=tone[..., None] * np.float32(1), metal=metal, alpha_u=alpha, alpha_v=alpha, cavity=1.0)
    toe = np.exp(-np.square(inner / np.float32(0.12))) * np.float32(rng.uniform(0, 0.6))
    layers.cavity *= 1 - toe
