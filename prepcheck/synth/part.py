"""The part's outline: plates, flanges, rings, castings, tubes before a background, edges, shadows and holes."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import ALUMINIUM, Layers
from prepcheck.synth.noise import Field, log_uniform, places, soft
from prepcheck.terms import State

OUTLINES = ("edge", "plate", "disc", "flange", "casting", "bar")


def signed_distance(mask: NDArray[np.uint8]) -> Field:
    """Distance in pixels to the border of a 0/1 mask, positive inside; float32, shape (H, W)."""
    inside = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    outside = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 3)
    return np.asarray(inside - outside, np.float32)


def half_plane(rng: np.random.Generator, shape: tuple[int, int], most: float = 0.45) -> Field:
    """Signed distance in pixels (positive on the part) to a straight or slightly bowed edge somewhere in the frame."""
    rows, cols = shape
    x, y = places(shape)
    angle = rng.uniform(0, 2 * np.pi)
    out = (0.5 - rng.uniform(0.02, most)) * (abs(np.cos(angle)) * cols + abs(np.sin(angle)) * rows)
    bow = rng.normal(0, 0.15) * np.square((-x * np.sin(angle) + y * np.cos(angle)) / cols) * cols
    return np.asarray(out - (x * np.cos(angle) + y * np.sin(angle)) + bow, np.float32)


def part_outline(rng: np.random.Generator, shape: tuple[int, int], kind: str | None = None) -> Field:
    """Signed distance in pixels to the outline of a part (a name of `OUTLINES`, drawn when None), positive on it."""
    kind = kind or str(rng.choice(OUTLINES, p=[0.36, 0.2, 0.06, 0.12, 0.14, 0.12]))
    if kind == "edge":
        edges = [half_plane(rng, shape) for _ in range(rng.integers(1, 3))]
        return np.asarray(np.minimum.reduce(edges), np.float32)
    mask = np.zeros(shape, np.uint8)
    rows, cols = shape
    centre = rng.uniform(0.35, 0.65, 2) * (cols, rows)
    size = rng.uniform(0.45, 1.1, 2) * (cols, rows)
    turn = float(rng.uniform(0, 180))
    if kind in ("plate", "bar"):
        if kind == "bar":
            size = np.asarray([1.6 * cols, rows * rng.uniform(0.2, 0.7)])
        corner = rng.uniform(0, 0.25) * size.min()
        inner = (float(size[0] - corner), float(size[1] - corner))
        ring = np.round(cv2.boxPoints(((float(centre[0]), float(centre[1])), inner, turn))).astype(np.int32)
        cv2.fillPoly(mask, [ring], 1)
        if corner >= 2:
            cv2.polylines(mask, [ring], True, 1, int(corner))
    elif kind in ("disc", "flange"):
        cv2.ellipse(mask, ((float(centre[0]), float(centre[1])), (float(size[0]), float(size.mean())), turn), 1, -1)
        if kind == "flange":
            _window(rng, mask, centre, size)
    else:
        _casting(rng, mask, centre, 0.45 * float(size.min()))
    return signed_distance(mask)


def _window(
    rng: np.random.Generator, mask: NDArray[np.uint8], centre: NDArray[np.float64], size: NDArray[np.float64]
) -> None:
    """Cut the middle and the bolt holes out of a flange."""
    bore = size * rng.uniform(0.3, 0.75)
    cv2.ellipse(mask, ((float(centre[0]), float(centre[1])), (float(bore[0]), float(bore.mean())), 0.0), 0, -1)
    count, reach = int(rng.integers(3, 13)), (size + bore).mean() / 4
    for k in range(count):
        angle = 2 * np.pi * k / count
        at = centre + reach * np.asarray([np.cos(angle), np.sin(angle)])
        cv2.circle(mask, (int(at[0]), int(at[1])), max(2, int((size - bore).mean() * 0.09)), 0, -1)


def _casting(rng: np.random.Generator, mask: NDArray[np.uint8], centre: NDArray[np.float64], reach: float) -> None:
    """Draw a rounded body with lugs and pockets."""
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    corners = rng.uniform(0.7, 1.25, 24)
    corners = (corners + np.roll(corners, 1) + np.roll(corners, -1)) / 3
    ring = centre + reach * corners[:, None] * np.stack([np.cos(turn) * rng.uniform(0.8, 1.6), np.sin(turn)], 1)
    cv2.fillPoly(mask, [np.round(ring).astype(np.int32)], 1)
    for k in rng.choice(24, rng.integers(2, 9), replace=False):
        cv2.circle(mask, (int(ring[k, 0]), int(ring[k, 1])), int(reach * rng.uniform(0.08, 0.22)), 1, -1)
        cv2.circle(mask, (int(ring[k, 0]), int(ring[k, 1])), max(2, int(reach * rng.uniform(0.03, 0.07))), 0, -1)
    for _ in range(rng.integers(0, 4)):
        at = centre + rng.normal(0, 0.3 * reach, 2)
        pocket = (reach * rng.uniform(0.1, 0.6), reach * rng.uniform(0.1, 0.4))
        cv2.ellipse(mask, ((float(at[0]), float(at[1])), pocket, float(rng.uniform(0, 180))), 0, -1)


def chamfer(layers: Layers, distance: Field, width: float, steep: float) -> Field:
    """Turn the rim `width` pixels inside of an outline outwards; returns how far each pixel is into it (0..1)."""
    lip = np.asarray(np.clip(1 - distance / width, 0, 1) * (distance > 0), np.float32)
    for name, order in (("bend_x", (1, 0)), ("bend_y", (0, 1))):
        getattr(layers, name)[:] -= (
            lip * np.clip(cv2.Sobel(distance, cv2.CV_32F, *order) / 8, -1, 1) * np.float32(steep)
        )
    return lip


def cut_out(rng: np.random.Generator, layers: Layers, distance: Field, back: Layers) -> None:
    """Cut the part along `distance`, chamfer its edge and put `back` with the part's shadow behind."""
    on = distance > 0
    lip = chamfer(layers, distance, max(log_uniform(rng, 0.3, 5.0) / layers.mm_per_px, 1.5), 0.8)
    worn = np.asarray(lip * np.float32(rng.uniform(0, 0.6)) * (layers.ground == 0), np.float32)
    layers.mix(worn, metal=0.9, base=ALUMINIUM, alpha_u=0.2, alpha_v=0.3)
    lift = rng.uniform(0, 0.06) * layers.shape[1]
    turn = rng.uniform(0, 2 * np.pi)
    shift = np.asarray([[1, 0, lift * np.cos(turn)], [0, 1, lift * np.sin(turn)]])
    shadow = cv2.warpAffine(on.astype(np.float32), shift, layers.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
    shadow = soft(np.asarray(shadow, np.float32), max(0.4 * lift, 1.5)) * np.float32(rng.uniform(0.1, 0.75))
    near = np.float32(rng.uniform(0, 0.8)) * np.exp(np.clip(distance, None, 0) / np.float32(rng.uniform(3, 40)))
    behind(layers, back, ~on, np.asarray((1 - shadow) * (1 - near), np.float32))


def drill(rng: np.random.Generator, layers: Layers, back: Layers) -> None:
    """Drill one to six through-holes, alone or in a row; dark or showing what lies behind."""
    mask = np.zeros(layers.shape, np.uint8)
    radius = int(np.clip(log_uniform(rng, 1.5, 25) / layers.mm_per_px, 2, 0.2 * layers.shape[0]))
    start, step = rng.uniform(0.05, 0.95, 2), rng.normal(0, 0.15, 2)
    row = rng.random() < 0.5
    most = 7 if radius < 0.06 * layers.shape[0] else 2
    for k in range(rng.integers(1, most)):
        at = (start + k * step if row else rng.uniform(0.05, 0.95, 2)) * layers.shape[::-1]
        cv2.circle(mask, (int(at[0]), int(at[1])), radius, 1, -1, cv2.LINE_8)
    distance = signed_distance(np.asarray(1 - mask, np.uint8))
    chamfer(layers, distance, max(rng.uniform(0.3, 2) / layers.mm_per_px, 1.5), rng.uniform(0.2, 0.8))
    deep = np.float32(rng.uniform(0.02, 0.5)) * (1 - 0.7 * np.clip(-distance / max(radius, 1), 0, 1))
    behind(layers, back, mask > 0, np.asarray(deep, np.float32))


def behind(layers: Layers, back: Layers, where: NDArray[np.bool_], shade: Field) -> None:
    """Show `back` where the part is not."""
    left, top, width, height = cv2.boundingRect(where.astype(np.uint8))
    box = (slice(top, top + height), slice(left, left + width))
    there, here, far = where[box], layers.view(box), back.view(box)
    for name in ("height", "bend_x", "bend_y", "theta", "alpha_u", "alpha_v", "metal"):
        np.copyto(getattr(here, name), getattr(far, name), where=there)
    np.copyto(here.base, far.base, where=there[..., None])
    np.copyto(here.cavity, shade[box] * far.cavity, where=there)
    here.state[there] = State.BACKGROUND
    here.ground[there] = 0


__all__ = ["OUTLINES", "behind", "chamfer", "cut_out", "drill", "half_plane", "part_outline", "signed_distance"]
