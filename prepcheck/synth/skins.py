"""Bare metal that nobody has worked: weathered, cast, rolled, galvanised, anodised, mill scale, rust. Never a spot."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from prepcheck.synth.layers import ALUMINIUM, STEEL, Layers
from prepcheck.synth.noise import Field, by_cell, cells, clouds, log_uniform, ramp, smooth, soft
from prepcheck.terms import State

ON_STEEL = ("scale", "rust", "galvanised")


def lay_skin(rng: np.random.Generator, layers: Layers, share: Field, kind: str) -> None:
    """Cover `share` of each pixel with an unworked skin of the kind (a name of `SKINS`); writes COATING."""
    layers.mix(share, theta=0.0, cavity=1.0)
    SKINS[kind](rng, layers, share)
    layers.state[share >= 0.5] = State.COATING


def _weathered(rng: np.random.Generator, layers: Layers, share: Field) -> None:
    """Dull grey: mottled, streaked or speckled, half metallic."""
    shape, mm = layers.shape, layers.mm_per_px
    mottle = clouds(rng, shape, log_uniform(rng, 5, 120) / mm, 7, rng.uniform(0.45, 0.8))
    speckle = clouds(rng, shape, max(log_uniform(rng, 0.3, 2) / mm, 2), 2)
    metal = np.clip(rng.uniform(0.1, 0.7) + rng.uniform(0.05, 0.25) * mottle, 0.02, 0.85)
    grey = rng.uniform(0.15, 0.6) * np.exp(rng.uniform(0.05, 0.3) * mottle + rng.uniform(0, 0.12) * speckle)
    base = metal[..., None] * np.asarray(ALUMINIUM, np.float32) * 0.8 + ((1 - metal) * grey)[..., None]
    alpha = rng.uniform(0.28, 0.65)
    tint = (1 + rng.normal(0, 0.03, 3)).astype(np.float32)
    layers.mix(
        share, base=np.clip(base * tint, 0.02, 0.9), metal=metal, alpha_u=alpha, alpha_v=alpha * rng.uniform(1, 1.4)
    )
    fine = smooth(rng, shape, (1.5, rng.uniform(20, 200))) if rng.random() < 0.4 else speckle
    layers.height += share * (fine * np.float32(rng.uniform(0.0, 0.02) * min(1.0, 5 * mm)) - layers.height)


def _cast(rng: np.random.Generator, layers: Layers, share: Field) -> None:
    """Sand-cast: bumps of half a millimetre and more, dull metal, dirt in the hollows."""
    shape, mm = layers.shape, layers.mm_per_px
    size = max(log_uniform(rng, 0.4, 2.0) / mm, 2.0)
    bumps = clouds(rng, shape, size, 2, 0.6) + 0.5 * clouds(rng, shape, 4 * size, 2)
    mottle = clouds(rng, shape, log_uniform(rng, 10, 100) / mm, 6, 0.65)
    dirt = ramp(-bumps + 0.5 * mottle, rng.uniform(-0.5, 1.5), 2.5) * np.float32(rng.uniform(0, 0.7))
    tone = rng.uniform(0.35, 0.75) * np.exp(rng.uniform(0.02, 0.2) * mottle) * (1 - dirt)
    metal = np.clip(rng.uniform(0.35, 0.85) * (1 - dirt), 0, 1)
    alpha = rng.uniform(0.3, 0.55)
    tint = (1 + rng.normal(0, 0.03, 3) + np.asarray([1, 0, -1]) * rng.normal(0.01, 0.03)).astype(np.float32)
    layers.mix(share, base=np.clip(tone[..., None] * tint, 0.02, 0.9), metal=metal, alpha_u=alpha, alpha_v=alpha)
    relief = np.float32(rng.uniform(0.015, 0.09) * min(size * mm, 1.5))
    layers.height += share * (bumps * relief - layers.height)


def _rolled(rng: np.random.Generator, layers: Layers, share: Field) -> None:
    """Mill finish gone dull: fine lines one way, stains, light scratches."""
    shape, mm = layers.shape, layers.mm_per_px
    long = rng.uniform(60, 400)
    lines = smooth(rng, shape, (1.3, long)) + 0.7 * smooth(rng, shape, (5, long))
    mottle = clouds(rng, shape, log_uniform(rng, 20, 150) / mm, 6, 0.6)
    tone = rng.uniform(0.45, 0.75) * np.exp(0.04 * lines + rng.uniform(0.02, 0.12) * mottle)
    layers.mix(
        share, base=np.clip(tone[..., None] * np.asarray(ALUMINIUM, np.float32), 0.02, 0.9), theta=0.0,
        metal=np.clip(rng.uniform(0.45, 0.8) + 0.1 * mottle, 0, 0.9),
        alpha_u=rng.uniform(0.18, 0.3), alpha_v=rng.uniform(0.3, 0.5),
    )  # fmt: skip
    layers.height += share * (lines * np.float32(0.006 * min(1.0, 5 * mm)) - layers.height)


def _galvanised(rng: np.random.Generator, layers: Layers, share: Field) -> None:
    """Zinc flowers: cells that differ in tone, gloss and slope."""
    size = max(log_uniform(rng, 2, 25) / layers.mm_per_px, 4)
    number, _ = cells(rng, layers.shape, size)
    flower, other = by_cell(rng, number), by_cell(rng, number)
    feathers = clouds(rng, layers.shape, size, 5, 0.7)
    tone = rng.uniform(0.3, 0.65) * np.exp(rng.uniform(0.05, 0.25) * flower + 0.06 * feathers)
    layers.mix(
        share, base=np.clip(tone[..., None] * np.asarray((0.95, 0.98, 1.0), np.float32), 0.02, 0.9),
        metal=np.clip(rng.uniform(0.4, 0.8) + 0.12 * flower, 0, 0.95),
        alpha_u=np.clip(0.3 + 0.08 * other, 0.12, 0.6), alpha_v=np.clip(0.38 + 0.08 * other, 0.15, 0.7),
        theta=flower * 2, height=0.0,
    )  # fmt: skip
    tip = np.float32(rng.uniform(0, 0.04))
    layers.bend_x += share * flower * tip
    layers.bend_y += share * other * tip


def _anodised(rng: np.random.Generator, layers: Layers, share: Field) -> None:
    """Dyed or clear anodised, or gold chromated: even, half gloss."""
    colours = (
        (0.6, 0.6, 0.6),
        (0.6, 0.45, 0.16),
        (0.02, 0.02, 0.022),
        (0.05, 0.12, 0.4),
        (0.4, 0.03, 0.03),
        (0.5, 0.5, 0.35),
    )
    tone = np.exp(rng.uniform(0.01, 0.06) * clouds(rng, layers.shape, 60 / layers.mm_per_px, 5))[..., None]
    alpha = rng.uniform(0.2, 0.42)
    base = np.clip(tone * (np.asarray(colours[rng.integers(6)]) * rng.uniform(0.8, 1.2)).astype(np.float32), 0.01, 0.8)
    layers.mix(share, base=base, metal=rng.uniform(0.3, 0.7), alpha_u=alpha, alpha_v=alpha, height=0.0)


def _scale(rng: np.random.Generator, layers: Layers, share: Field) -> None:
    """Blue-black mill scale, flaked off in places to rust."""
    shape, mm = layers.shape, layers.mm_per_px
    mottle = clouds(rng, shape, log_uniform(rng, 10, 80) / mm, 6, 0.6)
    base = (
        np.exp(0.25 * mottle)[..., None] * np.asarray((0.05, 0.053, 0.06), np.float32) * np.float32(rng.uniform(0.6, 2))
    )
    layers.mix(share, base=base, metal=rng.uniform(0.1, 0.4), alpha_u=0.35, alpha_v=0.4, height=0.0)
    flaked = ramp(clouds(rng, shape, max(8 / mm, 4), 6, 0.6), rng.uniform(0.3, 2.5), rng.uniform(2.6, 3))
    _rust(rng, layers, np.asarray(share * flaked, np.float32))


def _rust(rng: np.random.Generator, layers: Layers, share: Field) -> None:
    """Rust from orange to brown, pitted and rough."""
    shape, mm = layers.shape, layers.mm_per_px
    mottle = clouds(rng, shape, log_uniform(rng, 5, 60) / mm, 7, 0.7)
    fine = clouds(rng, shape, max(0.8 / mm, 2), 3, 0.8)
    light, dark = np.asarray((0.33, 0.13, 0.045), np.float32), np.asarray((0.07, 0.035, 0.025), np.float32)
    mix = ramp(mottle + 0.4 * fine, -1.6, 1.6)[..., None]
    base = (dark + mix * (light - dark)) * np.float32(rng.uniform(0.6, 1.3))
    layers.mix(share, base=base, metal=0.0, alpha_u=0.7, alpha_v=0.7)
    layers.height += share * ((0.05 * soft(mottle, 1.0) + 0.02 * fine) * np.float32(min(1.0, 3 * mm)) - layers.height)


def _dull_steel(rng: np.random.Generator, layers: Layers, share: Field) -> None:
    """Old bare steel: brown-grey film, stains."""
    mottle = clouds(rng, layers.shape, log_uniform(rng, 5, 100) / layers.mm_per_px, 7, 0.65)
    tone = rng.uniform(0.25, 0.6) * np.exp(rng.uniform(0.1, 0.35) * mottle)
    tint = np.asarray(STEEL, np.float32) * np.asarray((1.0, 0.95, 0.88), np.float32)
    alpha = rng.uniform(0.25, 0.5)
    base = np.clip(tone[..., None] * tint, 0.01, 0.9)
    layers.mix(share, base=base, metal=rng.uniform(0.3, 0.7), alpha_u=alpha, alpha_v=alpha, height=0.0)


SKINS: dict[str, Callable[[np.random.Generator, Layers, Field], None]] = {
    "weathered": _weathered, "cast": _cast, "rolled": _rolled, "galvanised": _galvanised, "anodised": _anodised,
    "scale": _scale, "rust": _rust, "dull steel": _dull_steel,
}  # fmt: skip
