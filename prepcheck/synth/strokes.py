"""What a tool does to metal: passes of strokes side by side, arcs, swirls, and single scratches.

A pass covers the area with strokes that share a path (lanes, rows of arcs, rings); each stroke has its own start and
stop, pressure, slant and reach. All strokes of a pass are computed at once by looking their numbers up per pixel.
Scratches are one random profile drawn out along the path, so they run *through* everything; later strokes lie over
earlier ones with sharp edges. Roughness ranges as in :mod:`~prepcheck.synth.marks`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.marks import Marks, Tool, scratch_texture
from prepcheck.synth.noise import Field, log_uniform, places, smooth

STROKES = 1024
"""Different strokes of one pass; they repeat after that."""


@dataclass(frozen=True)
class Way:
    """How a tool is led: paths to choose from, how far passes differ in direction (radians), passes, loose strokes."""

    tool: Tool
    paths: tuple[str, ...]
    passes: tuple[int, int]
    loose: tuple[int, int]
    chatter: float = 0.0


TOOLS: dict[str, Way] = {
    "burr": Way(
        Tool((2.5, 14), (6, 40), (1.2, 6), (0.15, 0.6), (0.05, 0.3), (0.05, 0.5), 3.2),
        ("lanes",), (1, 2), (60, 260),
    ),
    "flap": Way(
        Tool((60, 400), (20, 110), (6, 25), (0.1, 0.4), (0.05, 0.22), (0.0, 0.08), 0.6),
        ("lanes", "lanes", "arcs"), (2, 4), (4, 30), 0.15,
    ),
    "fibre": Way(
        Tool((25, 62), (20, 90), (4, 18), (0.15, 0.5), (0.06, 0.28), (0.0, 0.15), 0.9),
        ("arcs", "lanes"), (2, 4), (6, 40), 0.2,
    ),
    "brush": Way(
        Tool((80, 900), (15, 120), (6, 30), (0.08, 0.3), (0.03, 0.16), (0.0, 0.03), 0.35), ("lanes",), (2, 3), (0, 15)
    ),
    "sanding": Way(
        Tool((200, 2000), (15, 90), (8, 40), (0.08, 0.35), (0.03, 0.18), (0.0, 0.02), 1.2), ("lanes",), (2, 4), (0, 25)
    ),
    "orbital": Way(
        Tool((1.0, 3.5), (5, 18), (0.5, 2.0), (0.08, 0.25), (0.03, 0.14), (0.0, 0.05), 3.2),
        ("lanes",), (1, 2), (150, 400),
    ),
    "mill": Way(
        Tool((8, 60), (40, 400), (0.6, 3.0), (0.1, 0.3), (0.02, 0.08), (0.03, 0.25), 0.05),
        ("arcs", "rings", "straight"), (1, 2), (0, 2),
    ),
    "scraper": Way(
        Tool((15, 90), (6, 25), (1.5, 6), (0.1, 0.4), (0.03, 0.14), (0.02, 0.22), 0.8), ("lanes",), (1, 2), (20, 120)
    ),
    "grit": Way(
        Tool((100, 900), (10, 60), (4, 16), (0.3, 0.9), (0.1, 0.28), (0.0, 0.06), 1.4), ("lanes", "arcs"), (2, 4), (10, 60)
    ),
}  # fmt: skip
"""Tools by name; lengths in mm. By eye from workshop photographs, no source."""


@dataclass
class Worked(Marks):
    """Marks with ``tone``, the brightness factor (about 1) that strokes and scratches give the metal."""

    tone: Field


@dataclass(frozen=True)
class Hand:
    """One tool in one hand on one spot: numbers in pixels and radians."""

    radius: float
    length: float
    width: float
    pitch: float
    steep: float
    groove: float
    alpha_u: float
    alpha_v: float
    angle: float
    spread: float
    uneven: float
    chatter: float


def untouched(shape: tuple[int, int]) -> Worked:
    """Planes before any stroke."""
    planes = [np.full(shape, value, np.float32) for value in (0, 0, 0.15, 0.3, 0, 0, 1)]
    return Worked(*planes)


def take_up(rng: np.random.Generator, way: Way, mm: float) -> Hand:
    """Draw how one person holds one tool, at `mm` per pixel."""
    tool = way.tool
    pitch = log_uniform(rng, *tool.pitch)
    seen = max(pitch / mm, 0.8)
    fading = min(1.0, pitch / mm / 0.8) ** 0.6
    alpha_u = log_uniform(rng, *tool.alpha_u)
    alpha_v = max(log_uniform(rng, *tool.alpha_v), alpha_u) * (1.25 - 0.25 * fading)
    return Hand(
        log_uniform(rng, *tool.radius) / mm, log_uniform(rng, *tool.length) / mm,
        max(log_uniform(rng, *tool.width) / mm, 2.5), seen, 1.5 * fading * log_uniform(rng, *tool.relief),
        rng.uniform(*tool.groove), alpha_u, alpha_v, rng.uniform(0, 2 * np.pi), tool.spread * rng.uniform(0.3, 1.0),
        rng.uniform(0.1, 0.5), rng.uniform(0.05, 0.3) if rng.random() < way.chatter else 0.0,
    )  # fmt: skip


def work_over(rng: np.random.Generator, worked: Worked, distance: Field, mm: float, way: Way) -> None:
    """Work the area where `distance` (signed, pixels, positive inside) is positive, in place."""
    box = _bounds(distance, 6.0 / mm + 4)
    if box is None:
        return
    hand = take_up(rng, way, mm)
    texture = scratch_texture(rng)
    for number in range(int(rng.integers(way.passes[0], way.passes[1] + 1))):
        turned = replace(hand, angle=hand.angle + rng.normal(0, hand.spread))
        sweep(rng, worked, box, distance[box], mm, turned, str(rng.choice(way.paths)), texture, number == 0)
    ys, xs = np.nonzero(distance[::4, ::4] > min(0.25 * hand.length, 0.5 * float(distance.max())))
    reach = min(hand.length, 4.0 * hand.radius) + 2 * hand.width
    enough = 4 + 5 * float(np.count_nonzero(distance > 0)) / (hand.length * hand.width)
    budget = min(1.2e7 / max(reach * reach, 400.0), enough)
    for _ in range(min(int(rng.integers(way.loose[0], way.loose[1] + 1)), int(budget)) if len(ys) else 0):
        pick = rng.integers(len(ys))
        _loose(rng, worked, (4.0 * xs[pick], 4.0 * ys[pick]), distance, mm, hand, texture)


def _bounds(distance: Field, margin: float) -> tuple[slice, slice] | None:
    """Box around the positive part of `distance` with a margin in pixels."""
    left, top, width, height = cv2.boundingRect((distance > -margin).astype(np.uint8))
    return (slice(top, top + height), slice(left, left + width)) if width > 3 and height > 3 else None


def _path(
    rng: np.random.Generator, box: tuple[slice, slice], shape: tuple[int, int], hand: Hand, path: str
) -> tuple[Field, Field, Field]:
    """Coordinates along and across the path in pixels, and its direction, inside `box`."""
    xs, ys = places(shape)
    x, y = xs[:, box[1]] - xs[:, box[1]].mean(), ys[box[0]] - ys[box[0]].mean()
    c, s = np.float32(np.cos(hand.angle)), np.float32(np.sin(hand.angle))
    along, across = np.asarray(x * c + y * s, np.float32), np.asarray(y * c - x * s, np.float32)
    if path == "straight":
        return along, across, np.full_like(along, hand.angle)
    if path == "arcs":
        return _rows_of_arcs(rng, along, across, hand)
    if path == "rings":
        off = rng.normal(0, 0.4, 2) * along.shape
        distance, bearing = cv2.cartToPolar(along + np.float32(off[1]), across + np.float32(off[0]))
        out, turn = np.asarray(distance, np.float32), np.asarray(bearing, np.float32)
        return turn * np.float32(out.mean()), out, turn + np.float32(np.pi / 2 + hand.angle)
    bow = np.float32(rng.choice([-1, 1]) * 0.5 / max(hand.radius, 0.7 * max(along.shape)))
    wander = smooth(rng, (along.shape[0], along.shape[1]), (max(hand.length, 20.0),) * 2) * np.float32(
        0.04 * hand.width
    )
    return along, across + bow * along * along + wander, hand.angle - np.arctan(2 * bow * along)


def _rows_of_arcs(rng: np.random.Generator, along: Field, across: Field, hand: Hand) -> tuple[Field, Field, Field]:
    """Arcs of a disc's rim that moves on, row beside row."""
    radius = np.float32(max(hand.radius, 3.0))
    pitch = radius * np.float32(rng.uniform(0.7, 1.7))
    row = np.floor(across / pitch + np.float32(rng.uniform(0, 1)) + 0.06 * np.sin(along / (3 * radius)))
    y = np.clip(across - (row + 0.5 - np.float32(rng.uniform(0, 1))) * pitch, -0.93 * radius, 0.93 * radius)
    arch = np.sqrt(radius * radius - y * y)
    sign = np.float32(rng.choice([-1.0, 1.0]))
    lean = np.arctan2(-sign * y, arch)
    return (
        radius * np.arcsin(y / radius) + row * radius * 3,
        along - sign * arch + row * 37,
        hand.angle + np.pi / 2 + lean,
    )


def sweep(
    rng: np.random.Generator, worked: Worked, box: tuple[slice, slice], distance: Field, mm: float, hand: Hand,
    path: str, texture: Field, first: bool,
) -> None:  # fmt: skip
    """Lay one pass over a box; `distance` is that of the box. The first pass leaves no gap."""
    u, v, theta = _path(rng, box, worked.height.shape, hand, path)
    lane = np.floor(v * np.float32(1 / hand.width))
    t = v * np.float32(1 / hand.width) - lane
    lane_number = lane.astype(np.int32)
    start = np.take(rng.random(STROKES).astype(np.float32) * 8, lane_number & (STROKES - 1))
    s = u * np.float32(1 / hand.length) + start
    segment = np.floor(s)
    s -= segment
    which = (lane_number * 73 + segment.astype(np.int32) * 151) & (STROKES - 1)

    def each(low: float, high: float) -> Field:
        return np.asarray(np.take(rng.uniform(low, high, STROKES).astype(np.float32), which), np.float32)

    slant = each(-0.12, 0.12) * np.float32(hand.uneven)
    across = (v + slant * (s - 0.5) * np.float32(hand.length)) * np.float32(1 / hand.pitch) + each(0, 512)
    ragged = np.take(rng.standard_normal(512).astype(np.float32), across.astype(np.int32) & 511)
    ends = (np.minimum(s - each(0, 0.25), 1 - each(0, 0.25) - s) + np.float32(0.04) * ragged) * np.float32(hand.length)
    sides = np.minimum(t, 1 - t) * np.float32(hand.width)
    reach = each(-1.0, 0.8) * np.float32(min(0.4 * hand.width, 5 / mm)) + ragged * np.float32(
        min(1.0 / mm, 0.1 * hand.width)
    )
    share = np.clip(distance + reach + 0.5, 0, 1)
    if not first:
        share *= (
            np.clip(ends * np.float32(1 / max(hand.length * log_uniform(rng, 0.02, 0.3), 2.0)), 0, 1)
            * np.clip(sides + 0.3, 0, 1)
            * (each(0, 1) > 0.2)
        )
    scratch = _scratches(texture, across, s * np.float32(110) + each(0, 128))
    press = each(0.4, 1.3)
    _cut(rng, worked, box, share, theta + slant, scratch, press, t, hand, mm, each)


def _scratches(texture: Field, across: Field, along: Field) -> Field:
    return np.asarray(
        cv2.remap(texture, across, np.asarray(along, np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP),
        np.float32,
    )


def _cut(
    rng: np.random.Generator, worked: Worked, box: tuple[slice, slice], share: Field, theta: Field, scratch: Field,
    press: Field | float, t: Field, hand: Hand, mm: float, each: object,
) -> None:  # fmt: skip
    """Blend strokes over what lies there: relief, roughness, direction, tone."""
    draw = each if callable(each) else lambda low, high: rng.uniform(low, high)
    relief = scratch * (press * np.float32(hand.steep * hand.pitch * mm))
    if hand.groove > 0.01:
        relief -= (1 - np.square(2 * t - 1)) * np.float32(min(hand.groove * 0.3 * hand.width * mm, 0.4)) * press
    blend(worked.height, box, share, relief)
    blend(worked.alpha_u, box, share, np.float32(hand.alpha_u) * draw(0.7, 1.4))
    blend(worked.alpha_v, box, share, np.float32(hand.alpha_v) * draw(0.7, 1.4))
    dark = np.clip(scratch, -3, 1.2) * np.float32(log_uniform(rng, 0.015, 0.1))
    blend(worked.tone, box, share, draw(1 - 0.3 * hand.uneven, 1.04) + dark)
    blend(worked.bite, box, share, (press - 0.85) * np.float32(3.0) + 0.3 * scratch)
    np.copyto(worked.theta[box], theta, where=share > 0.5)
    np.maximum(worked.cover[box], share, out=worked.cover[box])


def blend(plane: Field, box: tuple[slice, slice], share: Field, value: Field | float) -> None:
    """Move `plane` in `box` towards `value` by `share`."""
    plane[box] += share * (value - plane[box])


def _loose(
    rng: np.random.Generator, worked: Worked, centre: tuple[float, float], distance: Field, mm: float, hand: Hand,
    texture: Field,
) -> None:  # fmt: skip
    """Lay one stroke by itself along a circle through `centre` (pixels), inside the area only."""
    radius, length, width = (
        x * np.exp(rng.normal(0, 0.7 * hand.uneven)) for x in (hand.radius, hand.length, hand.width)
    )
    length = min(length, 4.5 * radius)
    angle = hand.angle + rng.normal(0, max(hand.spread, 0.1))
    hub = np.asarray(centre) - radius * np.asarray([np.cos(angle), np.sin(angle)])
    box = _arc_box(hub, radius, angle, length, width)
    near = distance[box]
    if min(near.shape) < 3:
        return
    x = np.arange(near.shape[1], dtype=np.float32)[None] + np.float32(box[1].start - hub[0])
    y = np.arange(near.shape[0], dtype=np.float32)[:, None] + np.float32(box[0].start - hub[1])
    out, bearing = cv2.cartToPolar(x + 0 * y, y + 0 * x)
    u = (np.mod(bearing - np.float32(angle - np.pi), np.float32(2 * np.pi)) - np.float32(np.pi)) * np.float32(radius)
    v = out - np.float32(radius)
    t = v * np.float32(1 / width) + np.float32(0.5)
    s = u * np.float32(1 / length) + np.float32(0.5)
    across = v * np.float32(1 / hand.pitch) + np.float32(rng.uniform(0, 512))
    scratch = _scratches(texture, across, s * np.float32(110) + np.float32(rng.uniform(0, 128)))
    ends = np.minimum(s, 1 - s) * np.float32(length) + scratch * np.float32(0.03 * length)
    share = np.clip(ends * np.float32(1 / max(length * log_uniform(rng, 0.02, 0.3), 2.0)), 0, 1) * np.clip(
        np.minimum(t, 1 - t) * np.float32(width), 0, 1
    )
    share = share * np.clip(near + np.float32(rng.uniform(0, 0.3) * width), 0, 1)
    press = 0.3 + 0.9 * np.clip(s if rng.random() < 0.5 else 1 - s, 0, 1) * np.float32(rng.uniform(0.6, 1.4))
    _cut(rng, worked, box, share, bearing + np.float32(np.pi / 2), scratch, press, t, hand, mm, None)


def _arc_box(hub: NDArray[np.float64], radius: float, angle: float, length: float, width: float) -> tuple[slice, slice]:
    """Box around an arc of a band."""
    turn = angle + np.linspace(-0.5, 0.5, 13) * length / radius
    way = hub + radius * np.stack([np.cos(turn), np.sin(turn)], 1)
    low, high = np.floor(way.min(axis=0) - 0.6 * width), np.ceil(way.max(axis=0) + 0.6 * width) + 1
    x0, y0, x1, y1 = (max(0, int(n)) for n in (*low, *high))
    return slice(y0, y1), slice(x0, x1)


def scratch_singly(rng: np.random.Generator, worked: Worked, area: NDArray[np.uint8], mm: float, count: int) -> None:
    """Draw `count` single deep scratches across `area`, straight or bowed."""
    lines = np.zeros(area.shape, np.float32)
    heading = rng.uniform(0, np.pi)
    for _ in range(count):
        start = rng.uniform(0, 1, 2) * area.shape[::-1]
        angle = rng.normal(heading, 0.8) if rng.random() < 0.8 else rng.uniform(0, np.pi)
        steps = np.linspace(0, log_uniform(rng, 3, 80) / mm, 8)
        bend = angle + steps * rng.normal(0, 0.002)
        way = start + np.stack([steps * np.cos(bend), steps * np.sin(bend)], 1)
        cv2.polylines(lines, [np.round(way * 8).astype(np.int32)], False, rng.uniform(0.2, 1), 1, cv2.LINE_AA, 3)
    lines *= area
    worked.height -= lines * np.float32(rng.uniform(0.05, 0.35) * max(mm, 0.08))
    worked.tone *= 1 - np.float32(rng.uniform(0, 0.3)) * lines


def slips(rng: np.random.Generator, shape: tuple[int, int], rim: NDArray[np.int64], mm: float) -> Field:
    """Draw where a tool slipped off a spot: thin lines one way from points (row, column) of its rim; 0 to 1."""
    lines = np.zeros(shape, np.float32)
    angle = rng.uniform(0, 2 * np.pi)
    for _ in range(int(log_uniform(rng, 2, 40)) if len(rim) else 0):
        start = rim[rng.integers(len(rim))][::-1]
        turn, length = angle + rng.normal(0, 0.35), log_uniform(rng, 2, 30) / mm
        ends = np.stack([start, start + length * np.asarray([np.cos(turn), np.sin(turn)])])
        cv2.polylines(lines, [np.round(ends * 8).astype(np.int32)], False, rng.uniform(0.3, 1), 1, cv2.LINE_AA, 3)
    return lines


def ripple(rng: np.random.Generator, worked: Worked, area: NDArray[np.uint8], mm: float) -> None:
    """Add the chatter of a bouncing disc: short waves across the strokes."""
    xs, ys = places((area.shape[0], area.shape[1]))
    angle = rng.uniform(0, np.pi)
    wave = (xs * np.cos(angle) + ys * np.sin(angle)) * np.float32(2 * np.pi * mm / rng.uniform(1.2, 5))
    wave = wave + 2 * smooth(rng, (area.shape[0], area.shape[1]), (25 / mm, 25 / mm))
    worked.height += area * np.asarray(np.sin(wave), np.float32) * np.float32(rng.uniform(0.005, 0.03))
