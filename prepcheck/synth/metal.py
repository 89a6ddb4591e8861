"""Bare worked metal: aluminium, steel, stainless, brass, with the unevenness that grinding leaves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import ALUMINIUM, STEEL, Layers
from prepcheck.synth.noise import Field, clouds, log_uniform
from prepcheck.synth.strokes import Worked
from prepcheck.terms import State

METALS: dict[str, tuple[float, float, float]] = {
    "aluminium": ALUMINIUM,
    "steel": STEEL,
    "stainless": (0.62, 0.595, 0.56),
    "brass": (0.88, 0.76, 0.47),
}
"""Normal reflectance, linear RGB; stainless and brass rounded from common tables of renderers (from memory)."""


def bare(rng: np.random.Generator, layers: Layers, worked: Worked, inside: NDArray[np.bool_], metal: str) -> None:
    """Show ground metal inside: anisotropic, toned by strokes, mottled a little, now and then polished; writes BRIGHT.

    Brightness alone must not tell metal from oxide, so its level and mottle vary.
    """
    share = inside.astype(np.float32)
    mm = layers.mm_per_px
    mottle = clouds(rng, layers.shape, max(log_uniform(rng, 8, 80) / mm, 30), 4)
    tone = np.exp(rng.uniform(0, 0.08) * mottle) * rng.uniform(0.68, 1.0) * worked.tone
    colour = np.asarray(METALS[metal]) * (1 + rng.normal(0, 0.012, 3))
    base = np.clip(tone[..., None] * colour.astype(np.float32), 0.02, 0.96)
    polish = log_uniform(rng, 0.55, 1.25) * np.exp(rng.uniform(0, 0.14) * mottle)
    layers.mix(
        share, base=base, metal=rng.uniform(0.88, 1.0), height=worked.height, cavity=_hollows(rng, worked),
        alpha_u=np.clip(worked.alpha_u * polish, 0.035, 0.6), alpha_v=np.clip(worked.alpha_v * polish, 0.05, 0.75),
    )  # fmt: skip
    layers.theta[inside] = worked.theta[inside]
    layers.state[inside] = State.BRIGHT


def _hollows(rng: np.random.Generator, worked: Worked) -> Field:
    """Deep scratches see less of the sky."""
    return np.asarray(1.0 - np.clip((1.0 - worked.tone) * rng.uniform(0, 1.2), 0.0, 0.5), np.float32)
