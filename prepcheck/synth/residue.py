"""What is left on ground metal: oxide that sits in the relief, pits, and foreign matter.

Corrosion product of aluminium is white (hydroxide and carbonate) to grey (mixed with metal); a native film of
nanometres changes reflectance by less than 1 % and is *not* modelled as oxide. The truth is oxide where at least half
of a pixel is covered.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import BEAD, Layers
from prepcheck.synth.marks import Marks
from prepcheck.synth.noise import Field, fractal, log_uniform, ramp, standard, warped
from prepcheck.terms import State


def oxide_share(rng: np.random.Generator) -> float:
    """Draw how much of a spot is still oxide: often none, sometimes nearly all."""
    draw = rng.random()
    if draw < 0.17:
        return 0.0
    if draw < 0.23:
        return float(rng.uniform(0.88, 1.0))
    return float(np.clip(rng.beta(1.1, 1.7), 0.004, 0.95))


def corrosion(rng: np.random.Generator, shape: tuple[int, int], mm_per_px: float) -> Field:
    """Depth to which corrosion once went, zero mean and unit variance: clouds, mottle, a water line, or islands."""
    cell = log_uniform(rng, 6, 60) / mm_per_px
    field = fractal(rng, shape, cell, 7, rng.uniform(0.38, 0.62))
    if rng.random() < 0.5:
        field = warped(rng, field, rng.uniform(0.1, 0.6) * cell, cell * rng.uniform(0.2, 0.8))
    if rng.random() < 0.2:
        angle = rng.uniform(0, np.pi)
        ys, xs = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
        line = (xs - shape[1] / 2) * np.cos(angle) + (ys - shape[0] / 2) * np.sin(angle) + cell * 0.3 * field
        field = field + 2.5 * np.exp(-np.square(line / (rng.uniform(4, 25) / mm_per_px)))
    return standard(field)


def lay_oxide(rng: np.random.Generator, layers: Layers, marks: Marks, inside: NDArray[np.bool_]) -> Field:
    """Leave oxide on the ground metal `inside`; returns its coverage (float32, shape (H, W), 0..1)."""
    share = oxide_share(rng)
    if share == 0.0 or not inside.any():
        return np.zeros(layers.shape, np.float32)
    depth = corrosion(rng, layers.shape, layers.mm_per_px)
    peaks = standard(marks.height - cv2.GaussianBlur(marks.height, (0, 0), max(1.0 / layers.mm_per_px, 3.0)))
    fine = fractal(rng, layers.shape, 1.2 / layers.mm_per_px, 4, 0.8)
    left = depth - rng.uniform(0, 0.3) * marks.bite - rng.uniform(0, 0.15) * peaks + rng.uniform(0, 0.15) * fine
    cut = float(np.quantile(left[inside][::7], 1.0 - share))
    soft = log_uniform(rng, 0.03, 0.35)
    cover = ramp(left, cut - soft, cut + soft) * inside
    smear = ramp(marks.bite + 0.6 * fine, 1.4, 2.0) * rng.uniform(0, 0.9) * (rng.random() < 0.12)
    cover = np.asarray(cover * (1.0 - smear), np.float32)
    for kind in range(1 if rng.random() < 0.7 else 2):
        part = cover if kind == 0 else cover * ramp(fractal(rng, layers.shape, 20 / layers.mm_per_px, 5), 0.0, 0.6)
        _crust(rng, layers, part, fine)
    layers.state[cover >= 0.5] = State.OXIDE
    return cover


def _crust(rng: np.random.Generator, layers: Layers, cover: Field, fine: Field) -> None:
    """Give the covered share the look of oxide: cloudy tone, powder relief, scratches cut off, no highlight."""
    shape, mm = layers.shape, layers.mm_per_px
    tone = rng.choice([rng.uniform(0.5, 0.85), rng.uniform(0.3, 0.6), rng.uniform(0.16, 0.4)], p=[0.4, 0.38, 0.22])
    clouds = fractal(rng, shape, log_uniform(rng, 3, 30) / mm, 5, 0.6)
    mottle = np.exp(rng.uniform(0.06, 0.28) * clouds + rng.uniform(0.02, 0.15) * fine)
    tint = 1 + rng.normal(0, 0.02, 3) + np.asarray([1, 0.2, -1]) * rng.normal(0.01, 0.035)
    base = np.clip(tone * mottle[..., None] * tint, 0.02, 0.92)
    thick = rng.uniform(0.82, 1.0)
    alpha = rng.uniform(0.45, 0.9)
    opaque = np.asarray(np.clip(cover * thick, 0, 1), np.float32)
    layers.mix(opaque, base=base, metal=rng.uniform(0.0, 0.12), alpha_u=alpha, alpha_v=alpha)
    buried = cv2.GaussianBlur(layers.height, (0, 0), max(rng.uniform(0.5, 3.0) / mm, 2.0))
    keep = rng.uniform(0.0, 0.25)
    layers.height += cover * (1 - keep) * (buried - layers.height)
    powder = fractal(rng, shape, max(rng.uniform(0.2, 1.0) / mm, 2.0), 3, 0.8)
    layers.height += cover * (powder * log_uniform(rng, 0.004, 0.12) * mm + rng.uniform(0, 0.1) * ramp(clouds, -1, 2))


def lay_pits(rng: np.random.Generator, layers: Layers, inside: NDArray[np.bool_]) -> None:
    """Sink pits of 0.2 to 7 mm into the metal, alone or in clusters, empty or filled; writes PIT."""
    if rng.random() < 0.4 or not inside.any():
        return
    mask = np.zeros(layers.shape, np.float32)
    ys, xs = np.nonzero(inside[::3, ::3])
    clusters = [rng.integers(len(ys)) for _ in range(rng.integers(1, 6))]
    for _ in range(int(log_uniform(rng, 2, 70))):
        pick = clusters[rng.integers(len(clusters))]
        off = rng.normal(0, log_uniform(rng, 2, 40) / layers.mm_per_px, 2)
        radius = max(log_uniform(rng, 0.12, 2.2) * rng.uniform(0.5, 1.5) / layers.mm_per_px, 0.9)
        _pit(rng, mask, (3 * xs[pick] + off[0], 3 * ys[pick] + off[1]), radius)
    hole = ramp(np.asarray(cv2.GaussianBlur(mask, (0, 0), 0.8), np.float32), 0.35, 0.65) * inside
    filled = rng.uniform(0.1, 0.5) if rng.random() < 0.3 else rng.uniform(0.01, 0.12)
    rim = cv2.GaussianBlur(mask, (0, 0), max(0.4 / layers.mm_per_px, 1.5))
    layers.height -= rim * rng.uniform(0.1, 0.6) * np.float32(min(1.0, 2 * layers.mm_per_px))
    layers.mix(hole, base=filled * (1 + rng.normal(0, 0.04, 3)), metal=0.02, alpha_u=0.7, alpha_v=0.7)
    layers.cavity *= 1.0 - rng.uniform(0.5, 0.95) * hole
    layers.state[(hole >= 0.5) & inside] = State.PIT


def _pit(rng: np.random.Generator, mask: Field, centre: tuple[float, float], radius: float) -> None:
    """Draw one ragged pit into `mask`."""
    turn = np.linspace(0, 2 * np.pi, 14, endpoint=False)
    reach = radius * np.exp(rng.normal(0, 0.22, 14)) * (1 + 0.3 * np.cos(turn * 2 + rng.uniform(0, 6)))
    ring = np.stack([centre[0] + reach * np.cos(turn), centre[1] + reach * np.sin(turn)], axis=1)
    cv2.fillPoly(mask, [np.round(ring * 8).astype(np.int32)], 1.0, cv2.LINE_AA, 3)


def lay_foreign(rng: np.random.Generator, layers: Layers, inside: NDArray[np.bool_]) -> None:
    """Add rust specks, smut, stains, grease or a marker line on the ground; writes FOREIGN."""
    if rng.random() < 0.45:
        return
    for _ in range(rng.integers(1, 3)):
        kind = ("rust", "smut", "stain", "grease", "marker")[rng.choice(5, p=[0.3, 0.3, 0.17, 0.13, 0.1])]
        cover, base, alpha = FOREIGN[kind](rng, layers)
        cover = np.asarray(cover * (inside | (kind == "marker")), np.float32)
        layers.mix(cover, base=base, metal=0.0, alpha_u=alpha, alpha_v=alpha)
        layers.state[(cover >= 0.5) & ((layers.state != State.PIT) & (layers.state != State.BACKGROUND))] = (
            State.FOREIGN
        )


def _blobs(rng: np.random.Generator, layers: Layers, size: tuple[float, float], share: tuple[float, float]) -> Field:
    field = fractal(rng, layers.shape, log_uniform(rng, *size) / layers.mm_per_px, 6, rng.uniform(0.45, 0.7))
    cut = float(np.quantile(field[::8, ::8], 1 - log_uniform(rng, *share)))
    return ramp(field, cut, cut + log_uniform(rng, 0.05, 0.5))


def _rust(rng: np.random.Generator, layers: Layers) -> tuple[Field, Field, float]:
    cover = _blobs(rng, layers, (1.5, 12), (0.003, 0.08))
    tone = np.exp(0.3 * fractal(rng, layers.shape, 3 / layers.mm_per_px, 3))[..., None]
    return cover, np.asarray((0.24, 0.085, 0.03)) * tone * rng.uniform(0.5, 1.5), 0.7


def _smut(rng: np.random.Generator, layers: Layers) -> tuple[Field, Field, float]:
    cover = _blobs(rng, layers, (4, 30), (0.01, 0.2)) * rng.uniform(0.75, 1.0)
    return cover, np.full((*layers.shape, 3), rng.uniform(0.015, 0.08), np.float32), rng.uniform(0.4, 0.8)


def _stain(rng: np.random.Generator, layers: Layers) -> tuple[Field, Field, float]:
    cover = _blobs(rng, layers, (8, 50), (0.02, 0.2)) * rng.uniform(0.6, 0.95)
    colour = np.asarray((0.25, 0.16, 0.07)) * rng.uniform(0.4, 1.4) * np.exp(rng.normal(0, 0.15, 3))
    return cover, np.broadcast_to(colour, (*layers.shape, 3)), 0.4


def _grease(rng: np.random.Generator, layers: Layers) -> tuple[Field, Field, float]:
    cover = _blobs(rng, layers, (4, 30), (0.01, 0.12)) * rng.uniform(0.7, 1.0)
    colour = np.asarray((0.06, 0.045, 0.03)) * rng.uniform(0.4, 1.8)
    return cover, np.broadcast_to(colour, (*layers.shape, 3)), rng.uniform(0.06, 0.2)


def _marker(rng: np.random.Generator, layers: Layers) -> tuple[Field, Field, float]:
    rows, cols = layers.shape
    line = np.zeros(layers.shape, np.float32)
    way = np.cumsum(rng.normal(0, 0.12, (9, 2)) * (cols, rows), axis=0) + rng.uniform(0.2, 0.8, 2) * (cols, rows)
    thick = max(1, round(rng.uniform(1, 4) / layers.mm_per_px))
    cv2.polylines(line, [np.round(way).astype(np.int32)], rng.random() < 0.3, 1.0, thick, cv2.LINE_AA)
    colours = ((0.01, 0.01, 0.012), (0.02, 0.03, 0.25), (0.35, 0.02, 0.02), (0.6, 0.6, 0.58))
    return line, np.broadcast_to(np.asarray(colours[rng.integers(4)]), (*layers.shape, 3)), 0.35


FOREIGN = {"rust": _rust, "smut": _smut, "stain": _stain, "grease": _grease, "marker": _marker}


def lay_bead(rng: np.random.Generator, layers: Layers, part: NDArray[np.bool_]) -> None:
    """Lay a weld bead with ripples across the part, heat tint or smoke beside it; writes `BEAD`."""
    rows, cols = layers.shape
    mm = layers.mm_per_px
    angle, half = rng.uniform(0, np.pi), rng.uniform(1.5, 5) / mm
    ys, xs = np.mgrid[0:rows, 0:cols].astype(np.float32)
    x, y = xs - rng.uniform(0.2, 0.8) * cols, ys - rng.uniform(0.2, 0.8) * rows
    wobble = fractal(rng, layers.shape, 30 / mm, 3) * rng.uniform(0.03, 0.25) * half
    v = -x * np.sin(angle) + y * np.cos(angle) + wobble
    u = x * np.cos(angle) + y * np.sin(angle)
    across = np.clip(1 - np.square(v / half), 0, 1)
    ripple = np.sin((u - 0.9 * half * np.sqrt(across)) * np.float32(2 * np.pi * mm / rng.uniform(0.7, 3.5)))
    on = ramp(1 - np.abs(v) / half, 0.0, 0.06) * part
    tint = np.exp(-np.square(np.clip(np.abs(v) - half, 0, None) / (rng.uniform(1, 8) / mm))) * (1 - on) * part
    hot = np.asarray(((0.12, 0.11, 0.1), (0.75, 0.74, 0.72), (0.45, 0.33, 0.16), (0.2, 0.22, 0.4))[rng.integers(4)])
    strength = rng.uniform(0.0, 0.9)
    layers.mix(np.asarray(tint * strength, np.float32), base=hot, metal=0.35)
    layers.state[(tint * strength > 0.3) & (layers.state != State.BACKGROUND)] = BEAD
    alpha = rng.uniform(0.12, 0.4)
    layers.mix(
        np.asarray(on, np.float32),
        base=rng.uniform(0.55, 0.9),
        metal=rng.uniform(0.6, 1.0),
        alpha_u=alpha,
        alpha_v=alpha,
    )
    crown = half * mm * rng.uniform(0.1, 0.45)
    layers.height += on * (crown * across + ripple * np.sqrt(across) * rng.uniform(0.02, 0.12) - layers.height)
    layers.state[on >= 0.5] = BEAD
