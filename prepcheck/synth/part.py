"""The part and what surrounds it: wall shape, edges, holes, and the clutter of a workshop behind."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import ALUMINIUM, STEEL, Layers
from prepcheck.synth.noise import Field, fractal, log_uniform, ramp, smooth
from prepcheck.terms import State


def bend_wall(rng: np.random.Generator, layers: Layers) -> None:
    """Curve the wall: a cylinder or saddle, dents, and the waviness of rolled or welded sheet."""
    rows, cols = layers.shape
    mm = layers.mm_per_px
    ys, xs = np.mgrid[0:rows, 0:cols].astype(np.float32)
    x, y = (xs - cols / 2) * mm, (ys - rows / 2) * mm
    if rng.random() < 0.55:
        angle, radius = rng.uniform(0, np.pi), log_uniform(rng, 0.7, 12.0) * cols * mm
        along = x * np.cos(angle) + y * np.sin(angle)
        slope = -np.clip(along / radius * rng.choice([1.0, 1.0, -1.0]), -0.8, 0.8)
        layers.bend_x += slope * np.cos(angle)
        layers.bend_y += slope * np.sin(angle)
    wave = fractal(rng, layers.shape, log_uniform(rng, 20, 150) / mm, 2) * log_uniform(rng, 0.02, 0.5)
    layers.height += wave
    for _ in range(rng.poisson(0.5)):
        centre = rng.uniform(0, 1, 2) * (cols, rows)
        size = log_uniform(rng, 5, 40) / mm
        ball = np.exp(-(np.square(xs - centre[0]) + np.square(ys - centre[1])) / (2 * size * size))
        layers.height += ball * (rng.normal(0, 0.06) * size * mm)


def half_plane(rng: np.random.Generator, shape: tuple[int, int], most: float = 0.45) -> Field:
    """Signed distance in pixels (positive on the part) to a straight or slightly bowed edge somewhere in the frame."""
    rows, cols = shape
    ys, xs = np.mgrid[0:rows, 0:cols].astype(np.float32)
    angle = rng.uniform(0, 2 * np.pi)
    x, y = xs - cols / 2, ys - rows / 2
    out = (0.5 - rng.uniform(0.02, most)) * (abs(np.cos(angle)) * cols + abs(np.sin(angle)) * rows)
    bow = rng.normal(0, 0.15) * np.square((-x * np.sin(angle) + y * np.cos(angle)) / cols) * cols
    return np.asarray(out - (x * np.cos(angle) + y * np.sin(angle)) + bow, np.float32)


def part_outline(rng: np.random.Generator, shape: tuple[int, int]) -> Field:
    """Signed distance in pixels to the part's outline, positive on the part; often the part fills the frame."""
    draw = rng.random()
    distance = np.full(shape, 1e4, np.float32)
    if draw < 0.5:
        return distance
    if draw < 0.85:
        for _ in range(rng.integers(1, 3)):
            distance = np.minimum(distance, half_plane(rng, shape))
        return distance
    rows, cols = shape
    mask = np.zeros(shape, np.uint8)
    size = rng.uniform(0.3, 0.85, 2) * (cols, rows)
    centre = rng.uniform(0.35, 0.65, 2) * (cols, rows)
    box = ((float(centre[0]), float(centre[1])), (float(size[0]), float(size[1])), float(rng.uniform(0, 180)))
    if rng.random() < 0.6:
        cv2.fillPoly(mask, [np.round(cv2.boxPoints(box)).astype(np.int32)], 1)
    else:
        cv2.ellipse(mask, box, 1, -1)
    return signed_distance(mask)


def signed_distance(mask: NDArray[np.uint8]) -> Field:
    """Distance in pixels to the border of a 0/1 mask, positive inside; float32, shape (H, W)."""
    inside = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    outside = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 3)
    return np.asarray(inside - outside, np.float32)


def cut_out(rng: np.random.Generator, layers: Layers, distance: Field, back: Layers) -> NDArray[np.bool_]:
    """Cut the part along `distance`, chamfer its edge and put `back` behind; returns the mask of the part."""
    on = distance > 0
    if not on.all():
        width = max(log_uniform(rng, 0.3, 5.0) / layers.mm_per_px, 1.5)
        lip = np.clip(1 - distance / width, 0, 1) * on
        gx, gy = cv2.Sobel(distance, cv2.CV_32F, 1, 0) / 8, cv2.Sobel(distance, cv2.CV_32F, 0, 1) / 8
        layers.bend_x -= lip * np.clip(gx, -1, 1) * 0.8
        layers.bend_y -= lip * np.clip(gy, -1, 1) * 0.8
        layers.mix(
            np.asarray(lip * rng.uniform(0, 0.6), np.float32), metal=0.9, base=ALUMINIUM, alpha_u=0.2, alpha_v=0.3
        )
        shade = 1 - rng.uniform(0, 0.8) * np.exp(np.clip(distance, None, 0) / rng.uniform(5, 60))
        _behind(layers, back, ~on, shade)
    return np.asarray(on)


def drill(rng: np.random.Generator, layers: Layers, back: Layers) -> NDArray[np.bool_]:
    """Drill zero to three through-holes; returns True where metal is left."""
    mask = np.zeros(layers.shape, np.uint8)
    for _ in range(rng.integers(1, 4)):
        centre = rng.uniform(0.05, 0.95, 2) * layers.shape[::-1]
        radius = log_uniform(rng, 2, 20) / layers.mm_per_px
        cv2.circle(mask, (int(centre[0]), int(centre[1])), max(2, int(min(radius, 0.2 * layers.shape[0]))), 1, -1)
    distance = signed_distance(np.asarray(1 - mask, np.uint8))
    lip = np.clip(1 - distance / max(rng.uniform(0.3, 2) / layers.mm_per_px, 1.5), 0, 1) * (distance > 0)
    layers.bend_x -= lip * cv2.Sobel(distance, cv2.CV_32F, 1, 0) / 8 * 0.6
    layers.bend_y -= lip * cv2.Sobel(distance, cv2.CV_32F, 0, 1) / 8 * 0.6
    _behind(layers, back, mask > 0, np.full(layers.shape, rng.uniform(0.03, 0.5), np.float32))
    return np.asarray(mask == 0)


def _behind(layers: Layers, back: Layers, where: NDArray[np.bool_], shade: Field) -> None:
    """Show `back` where the part is not."""
    for name in ("height", "bend_x", "bend_y", "theta", "alpha_u", "alpha_v", "metal", "base"):
        plane, other = getattr(layers, name), getattr(back, name)
        plane[where] = other[where]
    layers.cavity[where] = shade[where] * back.cavity[where]
    layers.state[where] = State.BACKGROUND
    layers.ground[where] = 0


def clutter(rng: np.random.Generator, layers: Layers, busy: float = 1.0) -> None:
    """Fill the layers with a workshop: floor, boards, boxes, tools, cables, cloth, bolts, other metal; state 0."""
    _floor(rng, layers)
    for _ in range(rng.poisson(9 * busy)):
        _thing(rng, layers)
    layers.state[:] = State.BACKGROUND


def _floor(rng: np.random.Generator, layers: Layers) -> None:
    """Concrete, wood, cloth or a plain wall."""
    shape = layers.shape
    colour = rng.uniform(0.03, 0.5) * (1 + rng.normal(0, 0.12, 3) + np.asarray([0.3, 0, -0.3]) * rng.uniform(0, 1))
    if rng.random() < 0.35:
        grain = smooth(rng, shape, (rng.uniform(2, 5), rng.uniform(60, 300))) + smooth(rng, shape, (14, 200))
    else:
        grain = fractal(rng, shape, log_uniform(rng, 10, 300), 6, rng.uniform(0.4, 0.9))
    layers.base[:] = np.clip(colour * np.exp(rng.uniform(0.02, 0.4) * grain)[..., None], 0.005, 0.9)
    rough = log_uniform(rng, 0.2, 0.9)
    layers.alpha_u[:] = layers.alpha_v[:] = rough
    layers.height[:] = grain * rng.uniform(0, 0.05) * layers.mm_per_px * 3


def _thing(rng: np.random.Generator, layers: Layers) -> None:
    """Put one box, disc, rod or cable down, matt or metallic, with rounded sides and a shadow."""
    mask = np.zeros(layers.shape, np.uint8)
    kind = rng.integers(4)
    size = log_uniform(rng, 0.03, 0.5) * layers.shape[1]
    centre = rng.uniform(0, 1, 2) * layers.shape[::-1]
    if kind == 3:
        way = centre + np.cumsum(rng.normal(0, size * 0.4, (7, 2)), axis=0)
        cv2.polylines(mask, [np.round(way).astype(np.int32)], False, 1, max(2, int(size * 0.05)), cv2.LINE_8)
    elif kind == 2:
        cv2.circle(mask, (int(centre[0]), int(centre[1])), int(size * 0.5), 1, -1)
    else:
        box = (tuple(map(float, centre)), (size, size * rng.uniform(0.08, 1.0)), float(rng.uniform(0, 180)))
        cv2.fillPoly(mask, [np.round(cv2.boxPoints(box)).astype(np.int32)], 1)
    _dress(rng, layers, mask)


def _dress(rng: np.random.Generator, layers: Layers, mask: NDArray[np.uint8]) -> None:
    """Give a thing its material, its round edge and its shadow."""
    shadow = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), rng.uniform(3, 20))
    layers.cavity *= 1 - rng.uniform(0.1, 0.7) * shadow
    on = mask > 0
    distance = np.minimum(cv2.distanceTransform(mask, cv2.DIST_L2, 3), rng.uniform(3, 40))
    metal = rng.random() < 0.35
    tone = (
        np.asarray(STEEL if rng.random() < 0.7 else ALUMINIUM)
        if metal
        else rng.uniform(0.01, 0.75) * rng.uniform(0.15, 1, 3)
    )
    grain = fractal(rng, layers.shape, log_uniform(rng, 4, 80), 3) * rng.uniform(0.0, 0.3)
    layers.base[on] = np.clip(tone * np.exp(grain[on])[:, None], 0.005, 0.93)
    layers.metal[on] = rng.uniform(0.5, 1.0) if metal else 0.0
    layers.alpha_u[on] = log_uniform(rng, 0.1, 0.6)
    layers.alpha_v[on] = log_uniform(rng, 0.1, 0.6)
    layers.cavity[on] = 1.0
    layers.bend_x[on] = (cv2.Sobel(distance, cv2.CV_32F, 1, 0) / 8)[on] * rng.uniform(0, 0.9) * -1
    layers.bend_y[on] = (cv2.Sobel(distance, cv2.CV_32F, 0, 1) / 8)[on] * rng.uniform(0, 0.9) * -1


__all__ = ["bend_wall", "clutter", "cut_out", "drill", "half_plane", "part_outline", "ramp", "signed_distance"]
