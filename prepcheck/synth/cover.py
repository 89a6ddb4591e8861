"""What lies on the wall away from the ground spots: paint in layers, or bare weathered skin."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import ALUMINIUM, Layers
from prepcheck.synth.noise import Field, fractal, log_uniform, ramp, smooth
from prepcheck.terms import State

PAINTS: dict[str, tuple[float, float, float]] = {
    "white": (0.78, 0.78, 0.76),
    "cream": (0.72, 0.66, 0.50),
    "light grey": (0.5, 0.5, 0.5),
    "grey": (0.22, 0.23, 0.24),
    "black": (0.03, 0.03, 0.032),
    "blue": (0.05, 0.12, 0.38),
    "green": (0.05, 0.2, 0.08),
    "yellow": (0.62, 0.40, 0.05),
    "red oxide": (0.28, 0.07, 0.04),
    "zinc yellow": (0.55, 0.50, 0.12),
}
"""Linear albedo of shop paints, by eye; every use varies them."""


def paint_colour(rng: np.random.Generator) -> tuple[str, Field]:
    """Name and linear albedo (float32, shape (3,)) of a paint, varied; one in four is a free colour."""
    if rng.random() < 0.25:
        return "other", (rng.uniform(0.02, 0.8) * rng.uniform(0.25, 1.0, 3)).astype(np.float32)
    name = list(PAINTS)[rng.integers(len(PAINTS))]
    varied = np.asarray(PAINTS[name]) * np.exp(rng.normal(0, 0.18, 3)) * np.exp(rng.normal(0, 0.15))
    return name, np.clip(varied, 0.01, 0.9).astype(np.float32)


def lay_paint(rng: np.random.Generator, layers: Layers, share: Field, colour: Field) -> None:
    """Cover `share` of each pixel (0..1) with a paint film: orange peel, dirt, chalking; writes COATING."""
    shape = layers.shape
    gloss = log_uniform(rng, 0.08, 0.6)
    dirt = fractal(rng, shape, log_uniform(rng, 20, 300), 5, rng.uniform(0.45, 0.8))
    tone = np.exp(rng.uniform(0.0, 0.22) * dirt)[..., None]
    faded = ramp(fractal(rng, shape, 150, 5), rng.uniform(0.2, 1.8), 2.5)[..., None] * rng.uniform(0, 0.5)
    base = np.clip(colour * tone + faded * (0.55 - colour), 0.005, 0.92).astype(np.float32)
    silver = 0.6 if rng.random() < 0.1 else 0.0
    layers.mix(share, base=base, metal=silver, alpha_u=gloss, alpha_v=gloss, cavity=1.0)
    peel = fractal(rng, shape, rng.uniform(0.6, 3.0) / layers.mm_per_px, 2) * rng.uniform(0.0, 0.04)
    layers.height += share * (peel * layers.mm_per_px * 2.0 + rng.uniform(0.03, 0.25) - layers.height)
    layers.state[share >= 0.5] = State.COATING


def lay_skin(rng: np.random.Generator, layers: Layers, share: Field) -> None:
    """Cover with bare weathered metal nobody has worked: mottled, matt, half metallic, rolling lines; COATING."""
    shape = layers.shape
    mottle = fractal(rng, shape, log_uniform(rng, 30, 300), 6, rng.uniform(0.5, 0.85))
    cloudy = ramp(mottle, -1.5, 1.5)
    metal = np.clip(rng.uniform(0.15, 0.75) + rng.uniform(0.05, 0.3) * mottle, 0.02, 0.9)
    grey = rng.uniform(0.15, 0.6) * (1 + rng.uniform(0.1, 0.5) * (cloudy - 0.5))
    tint = 1 + rng.normal(0, 0.035, 3)
    base = metal[..., None] * np.asarray(ALUMINIUM) * 0.85 + (1 - metal[..., None]) * grey[..., None]
    alpha = rng.uniform(0.25, 0.6)
    fine = smooth(rng, shape, (1.5, rng.uniform(20, 200))) if rng.random() < 0.5 else fractal(rng, shape, 4, 2)
    layers.mix(share, base=base * tint, metal=metal, alpha_u=alpha, alpha_v=alpha * rng.uniform(1, 1.4), theta=0.0)
    layers.height += share * (fine * rng.uniform(0.0, 0.04) * layers.mm_per_px - layers.height)
    layers.state[share >= 0.5] = State.COATING


def left_over(
    rng: np.random.Generator, ground: NDArray[np.uint8], distance: Field, mm_per_px: float, bite: Field
) -> Field:
    """Share of coating left inside and around a spot: feathered edge, flecks and islands.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of randomness.
    ground : ndarray of uint8, shape (H, W)
        1 inside the outline.
    distance : ndarray of float32, shape (H, W)
        Pixels to the outline, counted positive inside.
    mm_per_px : float
        Scale.
    bite : ndarray of float32, shape (H, W)
        How hard the last stroke cut; weak strokes leave more.

    Returns
    -------
    ndarray of float32, shape (H, W)
        1 outside, falling to 0 inside.
    """
    feather = max(log_uniform(rng, 0.15, 4.0) / mm_per_px, 1.2)
    patchy = fractal(rng, ground.shape, rng.uniform(2, 12) / mm_per_px, 4)
    reach = feather * (0.8 * patchy - 0.4 * bite) * rng.uniform(0.2, 1.0)
    edge = 1.0 - ramp(distance + np.clip(reach, -2 * feather, 2 * feather), -0.5 * feather, 0.5 * feather)
    if rng.random() < 0.45:
        near = np.exp(-np.clip(distance, 0, None) / (rng.uniform(3, 25) / mm_per_px))
        flecks = fractal(rng, ground.shape, rng.uniform(1.5, 8) / mm_per_px, 4) + 1.2 * near - 0.3 * bite
        cut = rng.uniform(2.0, 3.4)
        edge = np.maximum(edge, ramp(flecks, cut, cut + 0.25))
    return np.asarray(edge, np.float32)
