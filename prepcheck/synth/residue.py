"""Pits and voids: from 0.2 mm to 9 mm, alone, strewn or clustered, empty, filled with white product or with dirt."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import Layers
from prepcheck.synth.noise import Field, clouds, log_uniform, ramp, soft
from prepcheck.terms import State


def place_pits(rng: np.random.Generator, layers: Layers, inside: NDArray[np.bool_], most: int) -> tuple[Field, float]:
    """Choose where 1 to `most` pits lie in the metal `inside`: share of each pixel (float32), typical radius in mm."""
    mask = np.zeros(layers.shape, np.float32)
    ys, xs = np.nonzero(inside[::3, ::3])
    mm = layers.mm_per_px
    typical, spread = log_uniform(rng, 0.2, 2.5), rng.uniform(0.2, 0.7)
    if len(ys) == 0:
        return mask, typical
    hearts = rng.integers(len(ys), size=rng.integers(1, 6))
    strewn = rng.random() < 0.35
    for _ in range(int(log_uniform(rng, 1, most + 1))):
        pick = rng.integers(len(ys)) if strewn else hearts[rng.integers(len(hearts))]
        off = rng.normal(0, log_uniform(rng, 1, 30) / mm, 2)
        radius = min(typical * float(np.exp(rng.normal(0, spread))), 4.5) / mm
        _pit(rng, mask, (3.0 * xs[pick] + off[0], 3.0 * ys[pick] + off[1]), max(radius, 0.9))
    return np.asarray(ramp(soft(mask, 0.7), 0.3, 0.65) * inside, np.float32), typical


def around(layers: Layers, hole: Field) -> Field:
    """Closeness to pits, 0 to 1."""
    return np.asarray(np.clip(3 * soft(hole, max(1.5 / layers.mm_per_px, 2.0)), 0, 1), np.float32)


def sink_pits(rng: np.random.Generator, layers: Layers, hole: Field, radius: float) -> None:
    """Give pits depth, a rounded rim, and what lies in them; writes PIT where at least half of a pixel is pit."""
    mm = layers.mm_per_px
    depth = np.float32(radius * rng.uniform(0.3, 1.2) * min(1.0, 2.5 * mm))
    layers.height -= soft(hole, max(0.25 * radius / mm, 1.0)) * depth
    tone = (0.03, 0.1, 0.25, 0.6)[rng.choice(4, p=[0.4, 0.25, 0.15, 0.2])] * rng.uniform(0.5, 1.4)
    dirt = np.exp(0.3 * clouds(rng, layers.shape, max(0.8 / mm, 2.0), 3))[..., None]
    tint = 1 + np.asarray([1, 0.2, -1]) * rng.normal(0.02, 0.06)
    base = np.clip(dirt * (tone * tint).astype(np.float32), 0.01, 0.9)
    layers.mix(hole * np.float32(rng.uniform(0.8, 1)), base=base, metal=0.03, alpha_u=0.65, alpha_v=0.65)
    filled = tone > 0.3
    layers.cavity *= 1.0 - np.float32(rng.uniform(0.05, 0.4) if filled else rng.uniform(0.4, 0.95)) * hole
    layers.state[hole >= 0.5] = State.PIT


def _pit(rng: np.random.Generator, mask: Field, centre: tuple[float, float], radius: float) -> None:
    """Draw one ragged pit into `mask`."""
    turn = np.linspace(0, 2 * np.pi, 14, endpoint=False)
    reach = radius * np.exp(rng.normal(0, 0.22, 14)) * (1 + 0.3 * np.cos(turn * 2 + rng.uniform(0, 6)))
    ring = np.stack([centre[0] + reach * np.cos(turn), centre[1] + reach * np.sin(turn)], axis=1)
    cv2.fillPoly(mask, [np.round(ring * 8).astype(np.int32)], 1.0, cv2.LINE_AA, 3)
