"""Where a person grinds: blobs, strips along a joint, taped boxes, discs, strokes here and there; and the outline."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.noise import Field, clouds, log_uniform
from prepcheck.synth.part import signed_distance

Mask = NDArray[np.uint8]
SHAPES = ("blob", "strip", "box", "disc", "patches")

FILLING = {1: (0.16, 0.65), 2: (0.1, 0.3)}
"""Least and greatest reach of an area that fills a good part of the frame, in the picture's shorter side: one, or several."""
FRAMED = {1: (0.3, 0.65), 2: (0.2, 0.3)}
"""The same where the phone is held over the spots."""


def ground_areas(
    rng: np.random.Generator, shape: tuple[int, int], mm: float, count: int, framed: bool = False
) -> list[Mask]:
    """Draw `count` areas that were ground; each uint8, shape (H, W), 0 or 1, none empty.

    Three in four fill a good part of the frame, all of them if `framed`; the others are 6 to 90 mm in radius.
    """
    areas = []
    most = min(shape) * (0.62 if count == 1 else 0.3)
    fill = FRAMED[min(count, 2)] if framed else FILLING[min(count, 2)]
    for _ in range(count):
        filling = log_uniform(rng, *fill) * min(shape)
        reach = filling if framed or rng.random() < 0.75 else float(np.clip(log_uniform(rng, 6, 90) / mm, 14.0, most))
        mask = np.zeros(shape, np.uint8)
        centre = rng.normal(0.5, 0.14 if count == 1 else 0.27, 2).clip(0.08, 0.92) * shape[::-1]
        _draw(rng, mask, SHAPES[rng.choice(5, p=[0.5, 0.16, 0.1, 0.14, 0.1])], centre, reach)
        mask = _ragged(rng, mask, mm)
        if mask.any():
            areas.append(mask)
    return areas


def _draw(rng: np.random.Generator, mask: Mask, kind: str, centre: NDArray[np.float64], reach: float) -> None:
    """Draw one area of a kind."""
    if kind == "strip":
        _strip(rng, mask, centre, reach)
    elif kind == "box":
        sides = (2 * reach * rng.uniform(0.6, 1), 2 * reach * rng.uniform(0.25, 1))
        _box(mask, centre, sides, rng.uniform(0, 180), rng.uniform(0, 0.3) * min(sides))
    elif kind == "disc":
        axes = (int(reach), int(reach * log_uniform(rng, 0.5, 1)))
        cv2.ellipse(mask, (int(centre[0]), int(centre[1])), axes, rng.uniform(0, 180), 0, 360, 1, -1)
    else:
        parts = int(rng.integers(1, 5)) if kind == "blob" else int(rng.integers(3, 9))
        size = reach if kind == "blob" else 0.35 * reach
        for _ in range(parts):
            _blob(rng, mask, centre + rng.normal(0, 0.5 * reach, 2), size * rng.uniform(0.4, 1.0))


def _blob(rng: np.random.Generator, mask: Mask, centre: NDArray[np.float64], reach: float) -> None:
    """Draw a wobbly oval."""
    turn = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    wobble = np.sum([rng.normal(0, 0.16 / k) * np.cos(k * turn + rng.uniform(0, 6)) for k in range(2, 7)], axis=0)
    stretch, tilt = log_uniform(rng, 0.45, 1.0), rng.uniform(0, np.pi)
    x, y = reach * (1 + wobble) * np.cos(turn), reach * stretch * (1 + wobble) * np.sin(turn)
    c, s = np.cos(tilt), np.sin(tilt)
    ring = np.stack([x * c - y * s, x * s + y * c], 1) + centre
    cv2.fillPoly(mask, [np.round(ring).astype(np.int32)], 1)


def _strip(rng: np.random.Generator, mask: Mask, centre: NDArray[np.float64], reach: float) -> None:
    """Draw a strip as along a joint or a crack, straight or bowed."""
    angle, half = rng.uniform(0, np.pi), reach * log_uniform(rng, 0.12, 0.4)
    steps = np.linspace(-1, 1, 12) * reach * rng.uniform(1, 2.5)
    heading = angle + steps / reach * rng.normal(0, 0.15)
    way = centre + np.stack([steps * np.cos(heading), steps * np.sin(heading)], 1)
    cv2.polylines(mask, [np.round(way).astype(np.int32)], False, 1, max(3, int(2 * half)), cv2.LINE_8)


def _box(mask: Mask, centre: NDArray[np.float64], size: tuple[float, float], turn: float, corner: float) -> None:
    """Fill a turned box with rounded corners."""
    inner = (max(size[0] - 2 * corner, 1.0), max(size[1] - 2 * corner, 1.0))
    points = cv2.boxPoints(((float(centre[0]), float(centre[1])), inner, float(turn)))
    ring = [np.round(points).astype(np.int32)]
    cv2.fillPoly(mask, ring, 1)
    if corner >= 1:
        cv2.polylines(mask, ring, True, 1, int(2 * corner))


def _ragged(rng: np.random.Generator, mask: Mask, mm: float) -> Mask:
    """Fray the border by up to a few millimetres; often hardly at all."""
    if rng.random() < 0.45:
        return mask
    amount = min(log_uniform(rng, 0.2, 3.0) / mm, 12.0)
    fray = clouds(rng, (mask.shape[0], mask.shape[1]), max(log_uniform(rng, 2, 15) / mm, 4), 4, rng.uniform(0.4, 0.65))
    return np.asarray(signed_distance(mask) + amount * fray > 0, np.uint8)


def outline(cover_share: Field, area: Mask) -> Mask:
    """Outline of what was worked: strokes and area together, holes filled, specks dropped; uint8, 0 or 1."""
    worked = ((cover_share > 0.5) | (area > 0)).astype(np.uint8)
    return filled(np.asarray(cv2.morphologyEx(worked, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8))


def filled(mask: Mask, least: float = 60) -> Mask:
    """Fill the holes of every part of at least `least` pixels, drop the others; uint8, 0 or 1."""
    rings, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    kept = [ring for ring in rings if cv2.contourArea(ring) > least]
    return np.asarray(cv2.drawContours(np.zeros_like(mask), kept, -1, 1, -1), np.uint8)


__all__ = ["filled", "ground_areas", "outline"]
