"""Tool marks as one careful person leaves them: coherent strokes, one by one (for a mixed bag see `strokes`).

Each stroke is a band along a circle (a very large one is a straight line). Inside a band the scratches are one random
profile drawn out along the path, so that they run *through* the metal; later strokes lie over earlier ones. Scratches
too fine for a pixel become anisotropic roughness. Ranges: GGX roughness of ground metal 0.1 to 0.5 (renderer manuals;
Ward 1992 fitted 0.04 x 0.09 to rolled and 0.09 x 0.13 to lightly brushed aluminium).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.noise import Field, log_uniform, smooth, standard


@dataclass(frozen=True)
class Tool:
    """Ranges of one tool; lengths in millimetres, slopes and roughness without unit."""

    radius: tuple[float, float]
    length: tuple[float, float]
    width: tuple[float, float]
    pitch: tuple[float, float]
    relief: tuple[float, float]
    groove: tuple[float, float]
    spread: float
    alpha_u: tuple[float, float] = (0.05, 0.22)
    alpha_v: tuple[float, float] = (0.14, 0.5)


MOST_STROKES = 420
"""More strokes than this cost time and change nothing that can be seen: they are made larger instead."""


@dataclass
class Marks:
    """Result of a tool's work: planes of float32, shape (H, W).

    ``height`` is relief in millimetres, ``theta`` radians, ``cover`` the share worked (0..1), ``bite`` how hard
    the last stroke over a pixel cut, about 0 +- 1.
    """

    height: Field
    theta: Field
    alpha_u: Field
    alpha_v: Field
    cover: Field
    bite: Field


def scratch_texture(rng: np.random.Generator) -> Field:
    """Unit-variance scratches running down the rows, heavy-tailed across; float32, shape (128, 512)."""
    total = np.zeros((128, 512), np.float32)
    for along, across, weight in ((128, 1.0, 0.8), (50, 2.0, 0.9), (100, 5.0, 0.6), (128, 16.0, 0.6), (14, 1.0, 0.25)):
        layer = smooth(rng, (128, 512), (along, across))
        total += np.float32(weight) * (layer * np.abs(layer) if across <= 2.0 else layer)
    return standard(total)


def empty(shape: tuple[int, int]) -> Marks:
    """Marks before any stroke."""
    planes = [np.zeros(shape, np.float32) for _ in range(6)]
    planes[2] += 0.15
    planes[3] += 0.3
    return Marks(*planes)


def work(rng: np.random.Generator, marks: Marks, area: NDArray[np.uint8], mm_per_px: float, tool: Tool) -> None:
    """Lay strokes of `tool` over `area` (uint8, 1 inside) until it is covered about three times, in place."""
    habit = _habit(rng, tool)
    habit["length"] = min(habit["length"], rng.uniform(0.35, 0.9) * float(np.sqrt(area.sum())) * mm_per_px)
    inner = cv2.erode(
        area, np.ones((3, 3), np.uint8), iterations=int(rng.uniform(0.1, 0.45) * habit["length"] / mm_per_px)
    )
    ys, xs = np.nonzero((inner if inner.any() else area)[::4, ::4])
    if len(ys) == 0:
        return
    textures = [scratch_texture(rng) for _ in range(2)]
    mean_stroke = habit["length"] * habit["width"] / mm_per_px**2
    wanted = rng.uniform(2.0, 3.5) * 16.0 * len(ys) / mean_stroke
    grow = float(np.sqrt(max(1.0, wanted / MOST_STROKES)))
    for _ in range(int(np.clip(wanted / grow**2, 6, MOST_STROKES))):
        pick = rng.integers(len(ys))
        _stroke(rng, marks, (4.0 * xs[pick], 4.0 * ys[pick]), mm_per_px, habit, grow, textures[rng.integers(2)])


def _habit(rng: np.random.Generator, tool: Tool) -> dict[str, float]:
    """Draw how one person holds one tool: the middle of each range for this spot."""
    drawn = {name: log_uniform(rng, *getattr(tool, name)) for name in ("radius", "length", "width", "pitch", "relief")}
    drawn["groove"] = rng.uniform(*tool.groove)
    drawn["alpha_u"] = log_uniform(rng, *tool.alpha_u)
    drawn["alpha_v"] = max(log_uniform(rng, *tool.alpha_v), drawn["alpha_u"])
    drawn["angle"] = rng.uniform(0, 2 * np.pi)
    drawn["spread"] = tool.spread * rng.uniform(0.3, 1.0)
    drawn["turn"] = 1.0 if rng.random() < 0.75 else 0.0
    drawn["unlike"] = rng.uniform(0.1, 0.45)
    return drawn


def _stroke(
    rng: np.random.Generator, marks: Marks, centre: tuple[float, float], mm: float,
    habit: dict[str, float], grow: float, texture: Field,
) -> None:  # fmt: skip
    """Lay one stroke whose middle is at `centre` (pixels)."""
    unlike = habit["unlike"]
    radius, length, width = (
        habit[name] * grow * float(np.exp(rng.normal(0, unlike))) / mm for name in ("radius", "length", "width")
    )
    length = min(length, 5.0 * radius)
    angle = habit["angle"] + rng.normal(0, habit["spread"])
    side = 1.0 if habit["turn"] or rng.random() < 0.5 else -1.0
    hub = (centre[0] - side * radius * np.cos(angle), centre[1] - side * radius * np.sin(angle))
    box = _box(centre, 0.5 * length + width, marks.height.shape)
    if box is None:
        return
    u, v, theta = _band(box, hub, radius, angle if side > 0 else angle + np.pi)
    _lay(rng, marks, box, (u, v, theta), (length, width), mm, habit, texture)


def _box(centre: tuple[float, float], reach: float, shape: tuple[int, ...]) -> tuple[slice, slice] | None:
    """Cut the square around `centre` to the picture; None when nothing of it is inside."""
    y0, y1 = max(0, int(centre[1] - reach)), min(shape[0], int(centre[1] + reach) + 1)
    x0, x1 = max(0, int(centre[0] - reach)), min(shape[1], int(centre[0] + reach) + 1)
    return (slice(y0, y1), slice(x0, x1)) if y1 - y0 > 2 and x1 - x0 > 2 else None


def _band(
    box: tuple[slice, slice], hub: tuple[float, float], radius: float, angle: float
) -> tuple[Field, Field, Field]:
    """Coordinates along (u) and across (v) the circle in pixels, and the direction of the path."""
    y = np.arange(box[0].start, box[0].stop, dtype=np.float32)[:, None] - np.float32(hub[1])
    x = np.arange(box[1].start, box[1].stop, dtype=np.float32)[None, :] - np.float32(hub[0])
    distance, bearing = cv2.cartToPolar(
        np.broadcast_to(x, (y.size, x.size)).copy(), np.broadcast_to(y, (y.size, x.size)).copy()
    )
    turned = np.mod(bearing - np.float32(angle) + np.float32(np.pi), np.float32(2 * np.pi)) - np.float32(np.pi)
    return turned * np.float32(radius), distance - np.float32(radius), bearing + np.float32(np.pi / 2)


def _lay(
    rng: np.random.Generator, marks: Marks, box: tuple[slice, slice], band: tuple[Field, Field, Field],
    size: tuple[float, float], mm: float, habit: dict[str, float], texture: Field,
) -> None:  # fmt: skip
    """Blend one band of scratches over what lies there."""
    u, v, theta = band
    length, width = size
    pitch = max(habit["pitch"] / mm, 0.7)
    across = v * np.float32(1.0 / pitch) + np.float32(rng.uniform(0, 512))
    along = u * np.float32(110.0 / max(length, 1.0)) + np.float32(rng.uniform(0, 128))
    scratch = cv2.remap(texture, across, along, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    ragged = cv2.remap(texture, across * 0.5, along * 0.1, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    ends = np.float32(0.5 * length) * (1 + 0.15 * ragged) - np.abs(u)
    sides = np.float32(0.5 * width) - np.abs(v)
    share = np.clip(ends * 0.35, 0, 1) * np.clip(sides * np.float32(1.0 / max(0.12 * width, 1.5)), 0, 1)
    relief = scratch * np.float32(1.5 * habit["relief"] * pitch * mm * rng.uniform(0.6, 1.3))
    bowl = 1.0 - np.square(v * np.float32(2.0 / width))
    relief -= bowl * np.float32(habit["groove"] * 0.32 * width * mm * rng.uniform(0.3, 1.3))
    _blend(marks.height, box, share, relief)
    _blend(marks.alpha_u, box, share, habit["alpha_u"] * rng.uniform(0.75, 1.35))
    _blend(marks.alpha_v, box, share, habit["alpha_v"] * rng.uniform(0.75, 1.35))
    _blend(marks.bite, box, share, rng.normal() + 0.5 * ragged)
    marks.theta[box] = np.where(share > 0.5, theta, marks.theta[box])
    marks.cover[box] = np.maximum(marks.cover[box], share)


def _blend(plane: Field, box: tuple[slice, slice], share: Field, value: Field | float) -> None:
    plane[box] += share * (value - plane[box])
