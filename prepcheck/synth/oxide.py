"""Residual oxide on ground metal: where it stayed, and how film, powder and crust look.

Corrosion product of aluminium is white (hydroxide and carbonate) to grey (mixed with metal); a native film of
nanometres changes reflectance by less than 1 % and is *not* modelled as oxide. The truth is oxide where at least half
of the metal within `REACH_MM` is covered: what a grinder can aim at, not every bright line in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import Layers
from prepcheck.synth.noise import (
    Field,
    by_cell,
    cells,
    clouds,
    log_uniform,
    places,
    ramp,
    smooth,
    soft,
    standard,
    warped,
)
from prepcheck.synth.strokes import Worked
from prepcheck.terms import State

Inside = NDArray[np.bool_]

REACH_MM = 0.3
"""Spread (standard deviation) of the place around a point whose coverage decides its state; 1.5 pixels at least."""

SMALLEST_PX = 4.0
"""No patch is meant to be smaller, in pixels."""

PATTERNS = ("clouds", "islands", "tide", "crevice", "runs", "worms", "spots")


def share_left(rng: np.random.Generator, residue: str) -> float:
    """Draw how much of a spot is still oxide: ``little`` is 1 to 15 %, ``much`` from there to all of it."""
    if residue == "none":
        return 0.0
    if residue == "little":
        return log_uniform(rng, 0.01, 0.15)
    return float(rng.uniform(0.9, 1.0)) if rng.random() < 0.12 else float(np.clip(0.1 + rng.beta(1.1, 1.6), 0.12, 0.95))


def pattern(
    rng: np.random.Generator, layers: Layers, kind: str, seam: Field | None, least: float = SMALLEST_PX
) -> Field:
    """Depth to which corrosion of one kind once went, zero mean, unit variance.

    `seam` is the distance to a joint in mm, `least` the size in pixels below which no patch is meant to be.
    """
    shape, mm = layers.shape, layers.mm_per_px
    cell = max(log_uniform(rng, 5, 60) / mm, 1.25 * least)
    base = clouds(rng, shape, cell, 6, rng.uniform(0.38, 0.62))
    if kind == "clouds":
        return warped(rng, base, rng.uniform(0.1, 0.5) * cell, cell * 0.5) if rng.random() < 0.4 else base
    if kind == "islands":
        return clouds(rng, shape, max(log_uniform(rng, 1.5, 9) / mm, least), 4, rng.uniform(0.35, 0.6)) + 0.4 * base
    if kind == "tide":
        level = (base + rng.uniform(0, 6)) * rng.uniform(0.6, 1.6)
        return standard(-np.abs(np.mod(level, 1) - 0.5) + 0.1 * base)
    if kind == "crevice":
        near = seam if seam is not None else _line(rng, layers, base)
        return standard(3.0 * np.exp(-near / np.float32(rng.uniform(2, 15))) + 0.5 * base)
    if kind == "runs":
        long, wide = max(log_uniform(rng, 20, 120) / mm, 5 * least), max(log_uniform(rng, 1, 8) / mm, 0.75 * least)
        return standard(smooth(rng, shape, (long, wide)) + 0.6 * smooth(rng, shape, (long / 3, wide / 2)) + 0.6 * base)
    if kind == "worms":
        return standard(-np.abs(clouds(rng, shape, cell, 3, 0.5)) + 0.3 * base)
    number, distance = cells(rng, shape, max(log_uniform(rng, 1.5, 10) / mm, 1.25 * least))
    return standard(by_cell(rng, number) - distance * np.float32(2.5 / max(float(distance.mean()), 1e-3)) + 0.3 * base)


def _line(rng: np.random.Generator, layers: Layers, wave: Field) -> Field:
    """Distance in mm to a wandering line through the picture."""
    xs, ys = places(layers.shape)
    angle = rng.uniform(0, np.pi)
    off = rng.normal(0, 0.2) * layers.shape[1]
    line = (xs * np.cos(angle) + ys * np.sin(angle) - off) * layers.mm_per_px + 2.0 * wave
    return np.asarray(np.abs(line), np.float32)


def lay_oxide(
    rng: np.random.Generator, layers: Layers, worked: Worked, inside: Inside, share: float, seam: Field | None = None,
    hearts: Field | None = None, large: bool = False,
) -> Field:  # fmt: skip
    """Leave oxide on `share` of the ground metal `inside`; writes OXIDE.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of randomness.
    layers : Layers
        Written in place.
    worked : Worked
        Tool marks: oxide stays in their valleys and where the tool bit least.
    inside : ndarray of bool, shape (H, W)
        Where it may stay.
    share : float
        Share of `inside` to be covered, 0 to 1.
    seam, hearts : ndarray of float32, shape (H, W), or None
        Distance to a joint (mm); closeness to pits (0..1), around which oxide stays.
    large : bool
        Whether patches are large in the picture, with plainer edges.

    Returns
    -------
    ndarray of float32, shape (H, W)
        Coverage, 0 to 1.
    """
    if share <= 0.0 or not inside.any():
        return np.zeros(layers.shape, np.float32)
    weights = [0.36, 0.22, 0.09, 0.1, 0.07, 0.06, 0.1]
    least = log_uniform(rng, 0.03, 0.16) * min(layers.shape) if large else SMALLEST_PX
    depth = pattern(rng, layers, str(rng.choice(PATTERNS, p=weights)), seam, least)
    if rng.random() < 0.3:
        other = pattern(rng, layers, str(rng.choice(PATTERNS, p=weights)), seam, least)
        depth = np.maximum(depth, other - rng.uniform(0, 1))
    if hearts is not None:
        depth = depth + np.float32(rng.uniform(0, 2.5)) * hearts
    fine = clouds(rng, layers.shape, max(1.2 / layers.mm_per_px, 3.0), 4, 0.8)
    valley = -standard(worked.height - soft(worked.height, max(1.0 / layers.mm_per_px, 3.0)))
    ragged = 0.4 if large else 1.0
    left = depth - rng.uniform(0, 0.35) * np.clip(worked.bite, -2, 2) + ragged * log_uniform(rng, 0.02, 0.5) * valley
    left += ragged * rng.uniform(0.02, 0.25) * fine
    cut = float(np.quantile(left[inside][::7], 1.0 - share))
    edge = ragged * log_uniform(rng, 0.03, 0.7)
    cover = np.asarray(ramp(left, cut - edge, cut + edge) * inside, np.float32)
    if rng.random() < 0.2:
        cover *= 1.0 - ramp(worked.bite + 0.6 * fine, 1.0, 1.5) * np.float32(rng.uniform(0.3, 1.0))
    _show(rng, layers, worked, cover, fine)
    reach = max(REACH_MM / layers.mm_per_px, 1.5)
    layers.state[inside & (2 * soft(cover, reach) >= soft(np.asarray(inside, np.float32), reach))] = State.OXIDE
    return cover


def _show(rng: np.random.Generator, layers: Layers, worked: Worked, cover: Field, fine: Field) -> None:
    """Give the covered share one or two looks."""
    looks = rng.choice(list(LOOKS), size=1 if rng.random() < 0.6 else 2, p=[0.34, 0.24, 0.15, 0.1, 0.17], replace=False)
    for number, name in enumerate(looks):
        part = cover
        if number:
            field = clouds(rng, layers.shape, max(log_uniform(rng, 4, 30) / layers.mm_per_px, 4.0), 5)
            part = np.asarray(cover * ramp(field, 0.0, rng.uniform(0.1, 1.0)), np.float32)
        _coat(rng, layers, worked, part, fine, LOOKS[str(name)])


@dataclass(frozen=True)
class Look:
    """Ranges of one look: albedo, hiding power, share of tool relief kept, bumps and thickness in mm, cracks."""

    tone: tuple[float, float]
    hiding: tuple[float, float]
    kept: tuple[float, float]
    bumps: tuple[float, float]
    thick: tuple[float, float]
    rough: tuple[float, float]
    cracked: float = 0.0


LOOKS = {
    "film": Look((0.2, 0.65), (0.55, 0.9), (0.3, 1.0), (0.002, 0.015), (0.0, 0.01), (0.35, 0.7)),
    "chalk": Look((0.4, 0.82), (0.85, 1.0), (0.0, 0.4), (0.006, 0.04), (0.01, 0.06), (0.55, 0.95)),
    "powder": Look((0.6, 0.88), (0.8, 1.0), (0.0, 0.3), (0.02, 0.09), (0.02, 0.1), (0.7, 0.95)),
    "crust": Look((0.2, 0.7), (0.92, 1.0), (0.0, 0.15), (0.03, 0.12), (0.08, 0.5), (0.5, 0.9), 0.45),
    "ground": Look((0.25, 0.7), (0.88, 1.0), (0.6, 1.0), (0.002, 0.02), (0.0, 0.04), (0.4, 0.75)),
}
"""Film lets metal through; ground oxide was scratched by the tool and is matt all the same."""


def _coat(rng: np.random.Generator, layers: Layers, worked: Worked, cover: Field, fine: Field, look: Look) -> None:
    """Cover with one look: cloudy tone, lost highlight, buried or kept scratches, relief of its own."""
    shape, mm = layers.shape, layers.mm_per_px
    mist = clouds(rng, shape, max(log_uniform(rng, 2, 30) / mm, 4.0), 5, 0.6)
    grain = clouds(rng, shape, max(log_uniform(rng, 0.15, 0.8) / mm, 2.0), 2, 0.8)
    mottle = np.exp(rng.uniform(0.04, 0.3) * mist + rng.uniform(0.01, 0.14) * fine + rng.uniform(0, 0.1) * grain)
    tint = 1 + rng.normal(0, 0.02, 3) + np.asarray([1, 0.2, -1]) * rng.normal(0.01, 0.035)
    base = np.clip(rng.uniform(*look.tone) * mottle[..., None] * tint.astype(np.float32), 0.02, 0.93)
    alpha = rng.uniform(*look.rough)
    opaque = np.asarray(cover * np.clip(rng.uniform(*look.hiding) + 0.08 * mist, 0.55, 1), np.float32)
    layers.mix(opaque, base=base, metal=rng.uniform(0.0, 0.1), alpha_u=alpha, alpha_v=alpha)
    buried = soft(layers.height, max(rng.uniform(0.6, 3.0) / mm, 2.0))
    layers.height += cover * (1 - rng.uniform(*look.kept)) * (buried - layers.height)
    step = min(1.0, 3 * mm)
    bumps = (0.7 * fine + grain) * np.float32(log_uniform(rng, *look.bumps) * step)
    body = np.float32(rng.uniform(*look.thick)) * ramp(mist, -1.5, 1.5)
    layers.height += soft(cover, 0.8) * (bumps + body)
    pores = ramp(-grain - 0.5 * fine, 1.0, 2.2) * np.float32(rng.uniform(0, 0.5))
    layers.cavity *= 1 - cover * pores
    if rng.random() < look.cracked:
        _crack(rng, layers, cover)


def _crack(rng: np.random.Generator, layers: Layers, cover: Field) -> None:
    """Split a crust into flakes with dark gaps."""
    number, _ = cells(rng, layers.shape, max(log_uniform(rng, 1.0, 6) / layers.mm_per_px, 5.0))
    gap = np.zeros(layers.shape, np.float32)
    gap[:, 1:] = number[:, 1:] != number[:, :-1]
    gap[1:] = np.maximum(gap[1:], number[1:] != number[:-1])
    gap = soft(gap, max(0.1 / layers.mm_per_px, 0.7)) * cover
    layers.height += cover * by_cell(rng, number) * np.float32(rng.uniform(0, 0.05))
    layers.height -= gap * np.float32(0.1 * min(1.0, 4 * layers.mm_per_px))
    layers.cavity *= 1 - np.clip(gap * rng.uniform(0.3, 1.0), 0, 0.8)


def lay_dull(rng: np.random.Generator, layers: Layers, where: Field, worked: Worked) -> None:
    """Lay weathering outside of the spots with the looks of oxide; the state there stays as it is."""
    keep = layers.state.copy()
    lay_oxide(rng, layers, worked, where > 0.5, log_uniform(rng, 0.05, 0.9))
    layers.state[:] = keep


__all__ = ["LOOKS", "PATTERNS", "lay_dull", "lay_oxide", "pattern", "share_left"]
