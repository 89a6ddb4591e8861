"""The shape of the wall: curved, dented, ribbed, lapped, a tube, a bore; and what is fixed to it."""

from __future__ import annotations

import cv2
import numpy as np

from prepcheck.synth.layers import STEEL, Layers
from prepcheck.synth.noise import Field, clouds, log_uniform, places, ramp, soft
from prepcheck.terms import State


def bend_wall(rng: np.random.Generator, layers: Layers) -> None:
    """Curve the wall: cylinder, saddle or ball, dents, and the waviness of rolled or welded sheet."""
    xs, ys = places(layers.shape)
    mm, cols = layers.mm_per_px, layers.shape[1]
    if rng.random() < 0.5:
        angle, radius = rng.uniform(0, np.pi), log_uniform(rng, 0.55, 12.0) * cols
        for turn, tight in ((angle, 1.0), (angle + np.pi / 2, rng.choice([0.0, 0.0, 0.5, 1.0, -0.5]))):
            along = xs * np.cos(turn) + ys * np.sin(turn)
            slope = -np.clip(along / radius * tight * rng.choice([1.0, 1.0, -1.0]), -0.9, 0.9)
            layers.bend_x += np.asarray(slope * np.cos(turn), np.float32)
            layers.bend_y += np.asarray(slope * np.sin(turn), np.float32)
    if rng.random() < 0.8:
        cell = log_uniform(rng, 0.05, 0.6) * cols
        layers.height += clouds(rng, layers.shape, cell, 2) * np.float32(log_uniform(rng, 0.0005, 0.02) * cell * mm)
    for _ in range(rng.poisson(0.4)):
        _dent(rng, layers)


def _dent(rng: np.random.Generator, layers: Layers) -> None:
    """Knock one dent or bump in, round or long."""
    xs, ys = places(layers.shape)
    x, y = (p - rng.uniform(-0.5, 0.5) * n for p, n in zip((xs, ys), layers.shape[::-1], strict=True))
    angle, size = rng.uniform(0, np.pi), max(log_uniform(rng, 3, 60) / layers.mm_per_px, 4)
    u, v = x * np.cos(angle) + y * np.sin(angle), (y * np.cos(angle) - x * np.sin(angle)) * rng.uniform(1, 3)
    ball = np.exp(-(np.square(u) + np.square(v)) / np.float32(2 * size * size))
    layers.height += np.asarray(ball * (rng.normal(0, 0.08) * size * layers.mm_per_px), np.float32)


def tube(rng: np.random.Generator, layers: Layers, distance: Field) -> None:
    """Round a bar's outline into a tube."""
    widest = max(float(distance.max()), 2.0)
    away = np.clip(1 - distance / np.float32(widest), 0, 0.97)
    slope = np.clip(away / np.sqrt(1 - away * away), 0, 1.1) * np.float32(rng.uniform(0.6, 1))
    broad = soft(distance, 2.0)
    gx, gy = cv2.Sobel(broad, cv2.CV_32F, 1, 0) / 8, cv2.Sobel(broad, cv2.CV_32F, 0, 1) / 8
    layers.bend_x -= slope * gx
    layers.bend_y -= slope * gy


def joint(rng: np.random.Generator, layers: Layers) -> tuple[Field, Field]:
    """Draw a lap joint, fold or rib line: relief to add at the end (mm), and distance to the line (mm)."""
    xs, ys = places(layers.shape)
    angle, off = rng.uniform(0, np.pi), rng.normal(0, 0.2) * layers.shape[1]
    across = np.asarray((xs * np.cos(angle) + ys * np.sin(angle) - off) * layers.mm_per_px, np.float32)
    wide, kind = max(log_uniform(rng, 0.4, 6), 1.5 * layers.mm_per_px), rng.integers(4)
    high = min(log_uniform(rng, 0.3, 5), 0.9 * wide)
    if kind == 0:
        relief = high * ramp(across, 0, wide)
    elif kind == 1:
        relief = high * np.exp(-np.square(across / np.float32(wide)))
    elif kind == 2:
        relief = -high * np.exp(-np.square(across / np.float32(wide)))
    else:
        pitch = np.float32(wide * rng.uniform(5, 20))
        relief = high * np.exp(-np.square((np.mod(across, pitch) - pitch / 2) / np.float32(wide)))
    return np.asarray(relief, np.float32), np.abs(across)


def fix(rng: np.random.Generator, layers: Layers, coated: bool) -> None:
    """Put rivets (part of the wall) or bolts and nuts (not this work) on it, in a row or loose."""
    bolt = rng.random() < 0.5
    size = log_uniform(rng, 2.5, 8) if not bolt else log_uniform(rng, 5, 18)
    radius = float(np.clip(size / layers.mm_per_px, 3, 0.08 * layers.shape[1]))
    start, turn = rng.uniform(0, 1, 2) * layers.shape[::-1], rng.uniform(0, 2 * np.pi)
    step = np.asarray([np.cos(turn), np.sin(turn)]) * radius * log_uniform(rng, 4, 14)
    row = rng.random() < 0.7
    for k in range(rng.integers(1, 9)):
        at = start + k * step if row else rng.uniform(0, 1, 2) * layers.shape[::-1]
        if (at >= 0).all() and (at < layers.shape[::-1]).all():
            _head(rng, layers, (int(at[0]), int(at[1])), radius, bolt, coated)


def _head(
    rng: np.random.Generator, layers: Layers, at: tuple[int, int], radius: float, bolt: bool, coated: bool
) -> None:
    """Set one rivet or bolt head: dome or hexagon, rim in shadow."""
    reach = int(radius * 1.8) + 2
    box = (slice(max(0, at[1] - reach), at[1] + reach), slice(max(0, at[0] - reach), at[0] + reach))
    y = np.arange(*box[0].indices(layers.shape[0]), dtype=np.float32)[:, None] - at[1]
    x = np.arange(*box[1].indices(layers.shape[1]), dtype=np.float32)[None, :] - at[0]
    out = np.sqrt(x * x + y * y)
    rim = out
    if bolt and rng.random() < 0.7:
        turn = np.arctan2(y, x) + rng.uniform(0, 1)
        rim = np.asarray(out * np.cos(np.mod(turn, np.pi / 3) - np.pi / 6), np.float32)
    on = rim < radius
    layers.cavity[box] *= 1 - 0.5 * np.exp(-np.square((rim - radius) / np.float32(max(0.2 * radius, 1)))) * ~on
    dome = (
        np.float32(0.6 / radius)
        * np.clip((rim / radius) ** (5 if bolt else 1.5), 0, 1)
        * (radius * (1.0 if bolt else 0.8))
    )
    for plane, part in ((layers.bend_x, x), (layers.bend_y, y)):
        plane[box] = np.where(on, part / np.maximum(out, 1) * dome * 1.5, plane[box])
    if not bolt:
        return
    rusty = rng.random() < 0.3
    tone = np.asarray((0.2, 0.08, 0.035) if rusty else STEEL) * rng.uniform(0.4, 1)
    layers.base[box][on], layers.metal[box][on] = tone, 0.1 if rusty else 0.9
    layers.alpha_u[box][on] = layers.alpha_v[box][on] = 0.6 if rusty else rng.uniform(0.1, 0.35)
    layers.height[box][on] = 0.0
    layers.cavity[box][on] = 1.0
    layers.state[box][on] = State.COATING if coated and rng.random() < 0.3 else State.BACKGROUND
    layers.ground[box][on] = 0


__all__ = ["bend_wall", "fix", "joint", "tube"]
