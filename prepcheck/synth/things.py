"""Clutter: boxes, discs, rods, cables, washers, spanners, rags, hands, labels, behind a part or lying over it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import ALUMINIUM, STEEL, Layers
from prepcheck.synth.noise import Field, clouds, log_uniform, soft
from prepcheck.terms import State

KINDS = ("box", "disc", "rod", "cable", "washer", "spanner", "rag", "hand", "label", "bolt")
Mask = NDArray[np.uint8]


def strew(rng: np.random.Generator, layers: Layers, count: int) -> None:
    """Put `count` things down at random; they are background and belong to no spot."""
    for _ in range(count):
        put(rng, layers, str(rng.choice(KINDS)))


def put(rng: np.random.Generator, layers: Layers, kind: str) -> None:
    """Put one thing of a kind down: its shape, material, rounding and shadow."""
    size = log_uniform(rng, 0.04, 0.5) * layers.shape[1]
    centre = rng.uniform(0, 1, 2) * layers.shape[::-1]
    mask = np.zeros(layers.shape, np.uint8)
    DRAW.get(kind, _box)(rng, mask, centre, size)
    box = _bounds(mask, 25)
    if box is None:
        return
    _shade_below(rng, layers, mask, box)
    _dress(rng, layers.view(box), mask[box], kind)


def _bounds(mask: Mask, margin: int) -> tuple[slice, slice] | None:
    left, top, width, height = cv2.boundingRect(mask)
    if width < 2 or height < 2:
        return None
    return slice(max(0, top - margin), top + height + margin), slice(max(0, left - margin), left + width + margin)


def _shade_below(rng: np.random.Generator, layers: Layers, mask: Mask, box: tuple[slice, slice]) -> None:
    """Throw a soft shadow to one side."""
    lift, turn = rng.uniform(0, 14), rng.uniform(0, 2 * np.pi)
    shift = np.asarray([[1, 0, lift * np.cos(turn)], [0, 1, lift * np.sin(turn)]])
    part = np.ascontiguousarray(mask[box].astype(np.float32))
    shadow = soft(np.asarray(cv2.warpAffine(part, shift, part.shape[::-1]), np.float32), rng.uniform(1.5, 9))
    layers.cavity[box] *= 1 - np.float32(rng.uniform(0.2, 0.8)) * shadow


def _dress(rng: np.random.Generator, layers: Layers, mask: Mask, kind: str) -> None:
    """Give a thing its material and its rounded sides."""
    on = mask > 0
    distance = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    base, metal, alpha = _material(rng, layers, kind)
    layers.base[on], layers.metal[on] = base[on], metal
    layers.alpha_u[on], layers.alpha_v[on] = alpha, alpha * rng.uniform(1, 1.6)
    layers.height[on], layers.cavity[on], layers.theta[on] = 0.0, 1.0, rng.uniform(0, np.pi)
    if kind == "rag":
        layers.height[on] = (clouds(rng, layers.shape, 40, 3) * rng.uniform(2, 8) * layers.mm_per_px)[on]
    rounding = float(distance.max()) if kind in ("rod", "cable", "hand", "washer") else rng.uniform(1.5, 12)
    away = np.clip(1 - distance / np.float32(max(rounding, 1.5)), 0, 0.95)
    slope = np.clip(away / np.sqrt(1 - away * away), 0, 1.1) * np.float32(rng.uniform(0.5, 1))
    smooth_distance = cv2.GaussianBlur(distance, (0, 0), 1.0)
    layers.bend_x[on] = -(cv2.Sobel(smooth_distance, cv2.CV_32F, 1, 0) / 8 * slope)[on]
    layers.bend_y[on] = -(cv2.Sobel(smooth_distance, cv2.CV_32F, 0, 1) / 8 * slope)[on]
    layers.state[on] = State.BACKGROUND
    layers.ground[on] = 0


def _material(rng: np.random.Generator, layers: Layers, kind: str) -> tuple[Field, float, float]:
    """Colour plane, metal share and roughness."""
    grain = clouds(rng, layers.shape, log_uniform(rng, 4, 80), 3) * np.float32(log_uniform(rng, 0.01, 0.25))
    metal = kind in ("washer", "spanner", "bolt") or (kind in ("box", "disc", "rod") and rng.random() < 0.3)
    if metal:
        tone = np.asarray(STEEL if rng.random() < 0.7 else ALUMINIUM) * rng.uniform(0.3, 1)
    elif kind == "hand":
        tone = np.asarray(
            ((0.55, 0.32, 0.22), (0.3, 0.16, 0.1), (0.02, 0.02, 0.025), (0.45, 0.35, 0.18))[rng.integers(4)]
        )
    elif kind == "cable":
        tone = np.asarray(((0.02,) * 3, (0.4, 0.03, 0.02), (0.6, 0.2, 0.02), (0.5, 0.5, 0.48))[rng.integers(4)])
    else:
        tone = log_uniform(rng, 0.015, 0.8) * rng.uniform(0.2, 1, 3)
    base = np.exp(grain)[..., None] * tone.astype(np.float32)
    if kind in ("label", "box") and rng.random() < (0.9 if kind == "label" else 0.3):
        base += _lettering(rng, layers)[..., None] * (rng.uniform(0.01, 0.7, 3).astype(np.float32) - base)
    share = rng.uniform(0.5, 1.0) if metal else 0.0
    return np.clip(base, 0.004, 0.93).astype(np.float32), share, log_uniform(rng, 0.08, 0.6)


def _lettering(rng: np.random.Generator, layers: Layers) -> Field:
    """Lines of letters and bars over the whole plane, turned."""
    side = int(np.hypot(*layers.shape)) + 1
    ink = np.zeros((side, side), np.uint8)
    y = 0
    while y < side:
        high = int(log_uniform(rng, 8, 50))
        y += int(1.6 * high)
        if rng.random() < 0.2:
            cv2.rectangle(ink, (0, y - high), (int(rng.uniform(0.2, 1) * side), y), 255, -1)
            continue
        text = "".join(rng.choice(list("AEIORSTLNMKP0123456789  "), int(rng.integers(4, 40))))
        font, start = int(rng.integers(0, 4)), int(rng.uniform(0, 0.3) * side)
        cv2.putText(ink, text, (start, y), font, high / 24, 255, max(1, high // 8), cv2.LINE_AA)
    turn = cv2.getRotationMatrix2D((side / 2, side / 2), float(rng.uniform(0, 360)), 1.0)
    turned = cv2.warpAffine(ink, turn, (side, side))
    return turned[: layers.shape[0], : layers.shape[1]].astype(np.float32) / np.float32(255)


def _box(rng: np.random.Generator, mask: Mask, centre: NDArray[np.float64], size: float) -> None:
    box = ((float(centre[0]), float(centre[1])), (size, size * rng.uniform(0.15, 1.0)), float(rng.uniform(0, 180)))
    cv2.fillPoly(mask, [np.round(cv2.boxPoints(box)).astype(np.int32)], 1)


def _disc(rng: np.random.Generator, mask: Mask, centre: NDArray[np.float64], size: float) -> None:
    box = ((float(centre[0]), float(centre[1])), (size, size * rng.uniform(0.5, 1.0)), float(rng.uniform(0, 180)))
    cv2.ellipse(mask, box, 1, -1)


def _rod(rng: np.random.Generator, mask: Mask, centre: NDArray[np.float64], size: float) -> None:
    turn = rng.uniform(0, np.pi)
    reach = size * rng.uniform(0.5, 2) * np.asarray([np.cos(turn), np.sin(turn)])
    ends = [np.round(centre + sign * reach).astype(int).tolist() for sign in (-1, 1)]
    cv2.line(mask, ends[0], ends[1], 1, max(3, int(size * rng.uniform(0.05, 0.3))))


def _cable(rng: np.random.Generator, mask: Mask, centre: NDArray[np.float64], size: float) -> None:
    t = np.linspace(0, 1, 60)
    waves = [rng.normal(0, 1.2 / k) * np.sin(k * 3 * t + rng.uniform(0, 6)) for k in (1, 2, 3)]
    heading = rng.uniform(0, 6.28) + np.sum(waves, axis=0)
    way = centre + np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1), axis=0) * size / 20
    cv2.polylines(mask, [np.round(way).astype(np.int32)], False, 1, max(3, int(rng.uniform(3, 14))))


def _washer(rng: np.random.Generator, mask: Mask, centre: NDArray[np.float64], size: float) -> None:
    at, radius = (int(centre[0]), int(centre[1])), max(4, int(0.3 * size))
    cv2.circle(mask, at, radius, 1, max(2, int(radius * rng.uniform(0.2, 0.6))))


def _spanner(rng: np.random.Generator, mask: Mask, centre: NDArray[np.float64], size: float) -> None:
    turn = rng.uniform(0, 2 * np.pi)
    along = np.asarray([np.cos(turn), np.sin(turn)])
    wide = max(4, int(0.09 * size))
    ends = [np.round(centre + sign * along * size * 0.5).astype(int) for sign in (-1, 1)]
    cv2.line(mask, ends[0].tolist(), ends[1].tolist(), 1, wide)
    for end in ends:
        cv2.circle(mask, end.tolist(), int(1.2 * wide), 1, -1)
    cv2.circle(mask, ends[0].tolist(), int(0.7 * wide), 0, -1)
    jaw = np.round(ends[1] + along * 1.3 * wide).astype(int)
    cv2.line(mask, ends[1].tolist(), jaw.tolist(), 0, wide)


def _rag(rng: np.random.Generator, mask: Mask, centre: NDArray[np.float64], size: float) -> None:
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    wobble = 1 + np.sum([rng.normal(0, 0.22 / k) * np.cos(k * turn + rng.uniform(0, 6)) for k in range(2, 9)], axis=0)
    ring = centre + 0.6 * size * wobble[:, None] * np.stack([np.cos(turn), np.sin(turn)], 1)
    cv2.fillPoly(mask, [np.round(ring).astype(np.int32)], 1)


def _hand(rng: np.random.Generator, mask: Mask, centre: NDArray[np.float64], size: float) -> None:
    """Fingers that reach in from the nearest border."""
    middle = np.asarray(mask.shape[::-1]) / 2
    outward = (centre - middle) / (np.linalg.norm(centre - middle) + 1e-6)
    thick = max(8, int(0.22 * size))
    side = np.asarray([-outward[1], outward[0]])
    for k in range(rng.integers(1, 5)):
        tip = centre + side * k * thick * 1.05 + outward * rng.normal(0, 0.3) * thick
        base = tip + outward * size * 2 + side * rng.normal(0, 0.3) * size
        cv2.line(mask, np.round(tip).astype(int).tolist(), np.round(base).astype(int).tolist(), 1, thick)


def _bolt(rng: np.random.Generator, mask: Mask, centre: NDArray[np.float64], size: float) -> None:
    turn = np.arange(6) * np.pi / 3 + rng.uniform(0, 1)
    ring = centre + max(5.0, 0.15 * size) * np.stack([np.cos(turn), np.sin(turn)], 1)
    cv2.fillPoly(mask, [np.round(ring).astype(np.int32)], 1)


DRAW = {
    "disc": _disc, "rod": _rod, "cable": _cable, "washer": _washer, "spanner": _spanner, "rag": _rag, "hand": _hand,
    "bolt": _bolt,
}  # fmt: skip


__all__ = ["KINDS", "put", "strew"]
