"""Foreign matter on ground metal (rust, smut, stain, grease, marker, glue), and what is too thin to count as any."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import Layers
from prepcheck.synth.noise import Field, clouds, log_uniform, places, ramp, soft
from prepcheck.terms import State

Stuff = tuple[Field, NDArray[np.float64] | Field, float]


def lay_foreign(rng: np.random.Generator, layers: Layers, inside: NDArray[np.bool_], kind: str | None = None) -> None:
    """Lay one kind of foreign matter on the ground `inside` (a marker line also beyond it); writes FOREIGN."""
    kind = kind or str(rng.choice(list(FOREIGN), p=[0.27, 0.25, 0.17, 0.13, 0.1, 0.08]))
    cover, base, alpha = FOREIGN[kind](rng, layers)
    cover = np.asarray(cover * (inside | (kind == "marker")), np.float32)
    layers.mix(cover, base=base, metal=0.0, alpha_u=alpha, alpha_v=alpha)
    there = (cover >= 0.5) & (layers.state != State.PIT) & (layers.state != State.BACKGROUND)
    layers.state[there] = State.FOREIGN


def blobs(rng: np.random.Generator, layers: Layers, size: tuple[float, float], share: tuple[float, float]) -> Field:
    """Cloudy blotches of `size` mm on a `share` of the picture, both drawn evenly in the logarithm."""
    cell = max(log_uniform(rng, *size) / layers.mm_per_px, 4.0)
    field = clouds(rng, layers.shape, cell, 6, rng.uniform(0.4, 0.65))
    cut = float(np.quantile(field[::8, ::8], 1 - log_uniform(rng, *share)))
    return ramp(field, cut, cut + log_uniform(rng, 0.04, 0.6))


def _rust(rng: np.random.Generator, layers: Layers) -> Stuff:
    cover = blobs(rng, layers, (1.0, 14), (0.002, 0.12))
    tone = np.exp(0.35 * clouds(rng, layers.shape, 3 / layers.mm_per_px, 3))[..., None]
    return cover, np.asarray((0.24, 0.085, 0.03)) * tone * rng.uniform(0.4, 1.6) * np.exp(rng.normal(0, 0.12, 3)), 0.7


def _smut(rng: np.random.Generator, layers: Layers) -> Stuff:
    field = clouds(rng, layers.shape, max(log_uniform(rng, 4, 40) / layers.mm_per_px, 4.0), 6, rng.uniform(0.4, 0.65))
    cut = float(np.quantile(field[::8, ::8], 1 - log_uniform(rng, 0.01, 0.2)))
    soft_edge = rng.uniform(0.1, 1.0)
    cover = ramp(field, cut - soft_edge, cut + soft_edge) * rng.uniform(0.75, 1.0)
    return np.asarray(cover, np.float32), np.full(3, log_uniform(rng, 0.012, 0.14)), rng.uniform(0.4, 0.8)


def _stain(rng: np.random.Generator, layers: Layers) -> Stuff:
    cover = blobs(rng, layers, (8, 50), (0.02, 0.2)) * rng.uniform(0.6, 0.95)
    colour = np.asarray((0.25, 0.16, 0.07)) * rng.uniform(0.4, 1.4) * np.exp(rng.normal(0, 0.15, 3))
    return np.asarray(cover, np.float32), colour, 0.4


def _grease(rng: np.random.Generator, layers: Layers) -> Stuff:
    """Smear dark grease with a finger or a rag: drawn out one way, glossy."""
    cover = blobs(rng, layers, (4, 30), (0.01, 0.12))
    if rng.random() < 0.6:
        size = int(max(3, rng.uniform(4, 25) / layers.mm_per_px)) | 1
        size = min(size, 61)
        kernel = np.zeros((size, size), np.float32)
        turn = rng.uniform(0, np.pi)
        ends = [
            (size // 2 + sign * np.asarray([np.cos(turn), np.sin(turn)]) * (size // 2)).astype(int) for sign in (-1, 1)
        ]
        cv2.line(kernel, ends[0].tolist(), ends[1].tolist(), 1.0)
        cover = np.asarray(cv2.filter2D(cover, -1, kernel / kernel.sum()), np.float32)
    colour = np.asarray((0.06, 0.045, 0.03)) * rng.uniform(0.4, 1.8)
    layers.height += cover * np.float32(0.01)
    return np.asarray(cover * rng.uniform(0.7, 1.0), np.float32), colour, rng.uniform(0.06, 0.2)


def _marker(rng: np.random.Generator, layers: Layers) -> Stuff:
    """Rings, arrows, crosses, wavy lines and figures of a felt pen or chalk."""
    rows, cols = layers.shape
    ink = np.zeros(layers.shape, np.uint8)
    thick = max(1, round(min(rng.uniform(0.7, 5) / layers.mm_per_px, 24)))
    for _ in range(rng.integers(1, 4)):
        size = log_uniform(rng, 0.05, 0.4) * cols
        at = rng.uniform(0.05, 0.95, 2) * (cols, rows)
        if rng.random() < 0.25:
            text = "".join(rng.choice(list("0123456789AXOKR"), rng.integers(1, 4)))
            cv2.putText(ink, text, (int(at[0]), int(at[1])), 1, size / 30, 255, thick, cv2.LINE_AA)
            continue
        way = np.round((at + size * _pen(rng)) * 8).astype(np.int32)
        cv2.polylines(ink, [way], False, 255, thick, cv2.LINE_AA, 3)
    colours = ((0.01, 0.01, 0.012), (0.02, 0.03, 0.25), (0.35, 0.02, 0.02), (0.6, 0.6, 0.58), (0.5, 0.4, 0.03))
    worn = 1 - ramp(clouds(rng, layers.shape, 12, 3), rng.uniform(0.5, 3), 3.2)
    return np.asarray(ink * worn / np.float32(255), np.float32), np.asarray(colours[rng.integers(5)]), 0.35


def _pen(rng: np.random.Generator) -> NDArray[np.float64]:
    """Path of one line drawn by hand, about one unit in size: ring, wave or straight; shape (N, 2)."""
    t = np.linspace(0, 1, 50)
    size, phase = rng.normal(0, 0.12, (2, 3)), rng.uniform(0, 6, (2, 3))
    wander = np.stack(
        [
            sum(a / k * np.sin(6.28 * k * t + p) for k, (a, p) in enumerate(zip(*row, strict=True), 1))
            for row in zip(size, phase, strict=True)
        ]
    )
    draw, turn = rng.random(), rng.uniform(0, 2 * np.pi)
    if draw < 0.4:
        shape = 0.5 * np.stack([np.cos(6.6 * t + turn), np.sin(6.6 * t + turn) * rng.uniform(0.5, 1)])
    else:
        shape = np.stack([np.cos(turn) * t, np.sin(turn) * t])
    return np.asarray((shape + wander * (0.3 if draw > 0.7 else 1.0)).T)


def _glue(rng: np.random.Generator, layers: Layers) -> Stuff:
    """Old sealant or gasket scraps, thick."""
    cover = blobs(rng, layers, (3, 25), (0.005, 0.06))
    layers.height += soft(cover, 1.0) * np.float32(rng.uniform(0.05, 0.6))
    return cover, rng.uniform(0.02, 0.6) * (1 + rng.normal(0, 0.15, 3)), rng.uniform(0.25, 0.7)


FOREIGN: dict[str, Callable[[np.random.Generator, Layers], Stuff]] = {
    "rust": _rust, "smut": _smut, "stain": _stain, "grease": _grease, "marker": _marker, "glue": _glue,
}  # fmt: skip


def sprinkle(rng: np.random.Generator, layers: Layers) -> None:
    """Add what no truth changes for: a film of dust, grains of grit, fingerprints, drops of water, oil sheen."""
    if rng.random() < 0.35:
        film = np.clip(clouds(rng, layers.shape, 200, 6, 0.7), 0, 2) * rng.uniform(0, 0.05)
        layers.mix(np.asarray(film, np.float32), base=0.35, metal=0.1)
    if rng.random() < 0.12:
        _grains(rng, layers)
    if rng.random() < 0.12:
        _fingerprints(rng, layers)
    if rng.random() < 0.05:
        _drops(rng, layers)
    if rng.random() < 0.08:
        wet = blobs(rng, layers, (20, 120), (0.05, 0.5))
        layers.base *= 1 - 0.25 * (wet * (1 - layers.metal))[..., None]
        smoother = {"alpha_u": np.minimum(layers.alpha_u, 0.12), "alpha_v": np.minimum(layers.alpha_v, 0.2)}
        layers.mix(np.asarray(wet * 0.8, np.float32), **smoother)


def _grains(rng: np.random.Generator, layers: Layers) -> None:
    """Strew grit and filings of a pixel or two."""
    grains = np.zeros(layers.shape, np.float32)
    for x, y in rng.uniform(0, 1, (int(log_uniform(rng, 20, 500)), 2)) * layers.shape[::-1]:
        way = rng.normal(0, 0.25 / layers.mm_per_px, 2).clip(-4, 4)
        ends = np.round(np.asarray([[x, y], [x + way[0], y + way[1]]]) * 8).astype(np.int32)
        cv2.polylines(grains, [ends], False, 1.0, 1, cv2.LINE_AA, 3)
    bright = rng.random() < 0.5
    layers.mix(
        np.asarray(grains * 0.8, np.float32),
        base=0.8 if bright else rng.uniform(0.02, 0.3),
        metal=0.9 if bright else 0.0,
    )


def _fingerprints(rng: np.random.Generator, layers: Layers) -> None:
    """Press ridges of skin fat onto the surface: slightly rougher, barely darker."""
    xs, ys = places(layers.shape)
    for _ in range(rng.integers(1, 5)):
        x, y = xs - rng.uniform(-0.4, 0.4) * layers.shape[1], ys - rng.uniform(-0.4, 0.4) * layers.shape[0]
        mm = np.float32(layers.mm_per_px)
        out = np.sqrt(np.square(x) + np.square(1.4 * y + 0.2 * x)) * mm
        ridges = 0.6 + 0.4 * np.sin(out * np.float32(2 * np.pi / 0.5))
        print_ = np.exp(-np.square(out / np.float32(rng.uniform(6, 10))) * 1.5) * ridges
        share = np.asarray(print_ * rng.uniform(0.1, 0.4), np.float32)
        layers.mix(share, alpha_u=0.35, alpha_v=0.4, base=0.6 * layers.base)


def _drops(rng: np.random.Generator, layers: Layers) -> None:
    """Put drops of water down: smooth domes that hide no truth."""
    dome = np.zeros(layers.shape, np.float32)
    for x, y in rng.uniform(0, 1, (int(log_uniform(rng, 3, 60)), 2)) * layers.shape[::-1]:
        radius = max(log_uniform(rng, 0.5, 5) / layers.mm_per_px, 1.5)
        cv2.circle(dome, (int(x * 8), int(y * 8)), int(min(radius, 60) * 8), 1.0, -1, cv2.LINE_AA, 3)
    bulge = soft(dome, max(1.0 / layers.mm_per_px, 1.5)) * dome
    layers.height += bulge * np.float32(0.5)
    layers.mix(np.asarray(dome * 0.8, np.float32), alpha_u=0.05, alpha_v=0.06)


__all__ = ["FOREIGN", "blobs", "lay_foreign", "sprinkle"]
