"""What lies on the wall away from the ground spots: paint in coats, and its edge where a tool went through."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import Layers
from prepcheck.synth.noise import Field, by_cell, cells, clouds, log_uniform, ramp, smooth, soft
from prepcheck.terms import State

PAINTS: dict[str, tuple[float, float, float]] = {
    "white": (0.78, 0.78, 0.76),
    "cream": (0.72, 0.66, 0.50),
    "light grey": (0.5, 0.5, 0.5),
    "grey": (0.22, 0.23, 0.24),
    "black": (0.03, 0.03, 0.032),
    "blue": (0.05, 0.12, 0.38),
    "light blue": (0.2, 0.4, 0.6),
    "green": (0.05, 0.2, 0.08),
    "grey green": (0.2, 0.27, 0.2),
    "red": (0.45, 0.03, 0.025),
    "orange": (0.6, 0.17, 0.02),
    "yellow": (0.62, 0.40, 0.05),
    "red oxide": (0.28, 0.07, 0.04),
    "zinc yellow": (0.55, 0.50, 0.12),
    "brown": (0.16, 0.09, 0.05),
}
"""Linear albedo of shop paints, by eye; every use varies them."""

PRIMERS = ("red oxide", "zinc yellow", "grey", "light grey", "white", "grey green", "black")
EDGES = ("feathered", "chipped", "cut", "torn")


def paint_colour(rng: np.random.Generator, primer: bool = False) -> NDArray[np.float32]:
    """Linear albedo (float32, shape (3,)) of a paint or primer, varied; one paint in four is a free colour."""
    if not primer and rng.random() < 0.25:
        return (rng.uniform(0.02, 0.8) * rng.uniform(0.25, 1.0, 3)).astype(np.float32)
    names = PRIMERS if primer else tuple(PAINTS)
    varied = (
        np.asarray(PAINTS[names[rng.integers(len(names))]])
        * np.exp(rng.normal(0, 0.18, 3))
        * np.exp(rng.normal(0, 0.15))
    )
    return np.asarray(np.clip(varied, 0.01, 0.9), np.float32)


def lay_paint(rng: np.random.Generator, layers: Layers, share: Field, colour: NDArray[np.float32]) -> None:
    """Cover `share` of each pixel (0..1) with a paint film: brush or spray texture, dirt, fading; writes COATING."""
    shape, mm = layers.shape, layers.mm_per_px
    gloss = log_uniform(rng, 0.06, 0.6)
    base = np.clip(colour * np.exp(-grime(rng, layers))[..., None], 0.005, 0.92).astype(np.float32)
    if rng.random() < 0.2:
        faded = ramp(clouds(rng, shape, 60 / mm, 6), rng.uniform(0.2, 1.8), 2.8) * np.float32(rng.uniform(0, 0.5))
        base += faded[..., None] * (0.55 * colour + 0.25 - base)
    if rng.random() < 0.3:
        _rub(rng, layers, base)
    silver = rng.uniform(0.3, 0.7) if rng.random() < 0.08 else 0.0
    layers.mix(share, base=base, metal=silver, alpha_u=gloss, alpha_v=gloss, theta=0.0, cavity=1.0)
    peel = clouds(rng, shape, max(rng.uniform(0.6, 4.0) / mm, 2.0), 2) * np.float32(
        rng.uniform(0.0, 0.012) * min(1.0, 4 * mm)
    )
    layers.height += share * (
        peel + np.float32(rng.uniform(0.03, 0.25)) + 0.1 * soft(layers.height, 2.0) - layers.height
    )
    if rng.random() < 0.06:
        _blister(rng, layers, share)
    layers.state[share >= 0.5] = State.COATING


def grime(rng: np.random.Generator, layers: Layers) -> Field:
    """Dirt on a wall as optical depth: an even haze, and runs, specks, smears or dust in places."""
    shape, mm = layers.shape, layers.mm_per_px
    depth = np.float32(log_uniform(rng, 0.004, 0.08)) * clouds(
        rng, shape, log_uniform(rng, 30, 600), 5, rng.uniform(0.3, 0.6)
    )
    if rng.random() < 0.25:
        runs = smooth(rng, shape, (max(log_uniform(rng, 20, 150) / mm, 20), max(log_uniform(rng, 0.5, 6) / mm, 2)))
        depth += ramp(runs, rng.uniform(0, 1.5), 2.5) * np.float32(rng.uniform(0.1, 0.7))
    if rng.random() < 0.35:
        specks = clouds(rng, shape, max(log_uniform(rng, 0.4, 4) / mm, 2), 2)
        cut = rng.uniform(1.8, 3.2)
        depth += ramp(specks, cut, cut + 0.3) * np.float32(rng.uniform(0.1, 1.2))
    if rng.random() < 0.3:
        smears = clouds(rng, shape, max(log_uniform(rng, 15, 80) / mm, 8), 5, 0.55)
        depth += ramp(smears, rng.uniform(0.3, 1.8), 3) * np.float32(rng.uniform(0.1, 0.9))
    return depth


def _rub(rng: np.random.Generator, layers: Layers, base: Field) -> None:
    """Scuff the paint: light scratches one way in places."""
    mm = layers.mm_per_px
    cell = (1.2, max(25 / mm, 3.0))
    lines = smooth(rng, layers.shape, cell if rng.random() < 0.5 else cell[::-1])
    where = ramp(clouds(rng, layers.shape, 50 / mm, 3), 0.2, 1.5)
    base *= np.exp(np.float32(rng.uniform(0.05, 0.3)) * lines * where)[..., None]


def _blister(rng: np.random.Generator, layers: Layers, share: Field) -> None:
    """Raise blisters under the film."""
    number, distance = cells(rng, layers.shape, max(log_uniform(rng, 3, 15) / layers.mm_per_px, 6))
    big = np.clip(by_cell(rng, number) - 0.8, 0, 1) * np.float32(0.3 * max(float(distance.mean()), 1))
    dome = np.clip(1 - np.square(distance / np.maximum(big * 4, 1)), 0, 1)
    layers.height += share * dome * np.float32(rng.uniform(0.1, 0.6))


def left_over(
    rng: np.random.Generator, distance: Field, mm_per_px: float, bite: Field, flecks: bool, kind: str | None = None
) -> Field:
    """Share of coating left around and inside a spot: an edge of one kind, and flecks and islands if asked for.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of randomness.
    distance : ndarray of float32, shape (H, W)
        Pixels to the outline, counted positive inside.
    mm_per_px : float
        Scale.
    bite : ndarray of float32, shape (H, W)
        How hard the last stroke cut; weak strokes leave more.
    flecks : bool
        Whether some coating stays away from the edge.
    kind : str or None
        A name of `EDGES`; drawn when None.

    Returns
    -------
    ndarray of float32, shape (H, W)
        1 outside, falling to 0 inside.
    """
    kind = kind or EDGES[rng.choice(4, p=[0.42, 0.25, 0.18, 0.15])]
    mm = mm_per_px
    wide = {"feathered": log_uniform(rng, 0.5, 10), "chipped": 0.25, "cut": 0.15, "torn": log_uniform(rng, 0.2, 1.0)}[
        kind
    ]
    feather = max(wide / mm, 1.2)
    moved = distance + _raggedness(rng, distance, mm, kind, bite, feather)
    edge = 1.0 - ramp(moved, -0.5 * feather, 0.5 * feather)
    if flecks:
        near = np.exp(-np.clip(distance, 0, None) / np.float32(rng.uniform(3, 25) / mm))
        field = clouds(rng, (distance.shape[0], distance.shape[1]), max(rng.uniform(1.5, 10) / mm, 3), 4)
        field += 1.2 * near - 0.3 * bite
        cut = rng.uniform(1.7, 3.4)
        edge = np.maximum(edge, ramp(field, cut, cut + 0.25))
    return np.asarray(edge, np.float32)


def _raggedness(
    rng: np.random.Generator, distance: Field, mm: float, kind: str, bite: Field, feather: float
) -> Field | float:
    """How far, in pixels, the edge of a coat strays from the outline."""
    shape = (distance.shape[0], distance.shape[1])
    if kind == "cut":
        return 0.0
    if kind == "chipped":
        number, _ = cells(rng, shape, max(log_uniform(rng, 1, 6) / mm, 3))
        return by_cell(rng, number) * np.float32(min(log_uniform(rng, 0.3, 2.5) / mm, 12))
    patchy = clouds(rng, shape, max(rng.uniform(2, 14) / mm, 3), 4)
    if kind == "torn":
        return patchy * np.float32(min(rng.uniform(0.3, 2.5) / mm, 10))
    return np.asarray(
        (0.6 * patchy - 0.3 * np.clip(bite, -1.5, 1.5)) * np.float32(feather * rng.uniform(0.2, 0.9)), np.float32
    )


__all__ = ["EDGES", "PAINTS", "grime", "lay_paint", "left_over", "paint_colour"]
