"""Workshop light: a hemisphere of surroundings (door, tubes, lamps, walls, the phone's own shadow) and near lamps.

The hemisphere is a square map in the paraboloid projection: a direction (x, y, z) with z towards the camera lies at
(x, y) / (1 + z). Smoothed copies serve rougher reflections.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.noise import Field, fractal, log_uniform

SIZE = 96
"""Side of a surroundings map in pixels."""

BLURS = (0.0, 2.0, 6.0, 16.0)
"""Gaussian blur of each smoothed copy in map pixels (96 pixels span 180 degrees)."""

LAMPS = 3
"""Near lamps of a rig: torch, second torch or lamp, flash or sun; unused ones are dark."""


@dataclass(frozen=True)
class Rig:
    """Everything that lights one photograph. Lengths in picture widths, origin in the middle of the picture.

    Attributes
    ----------
    maps : ndarray of float32, shape (4, 96, 96, 3)
        Radiance of the surroundings, sharp to smooth.
    irradiance : ndarray of float32, shape (96, 96, 3)
        Cosine-weighted mean radiance (irradiance / pi) by surface normal.
    radius : float
        Distance of the surroundings.
    camera : ndarray of float32, shape (3,)
        Place of the camera.
    lamp_at, lamp_colour, lamp_aim : ndarray of float32, shape (3, 3)
        Place, power (linear RGB) and the point on the part each lamp looks at.
    lamp_cone, lamp_size : ndarray of float32, shape (3,)
        Half-angle of the beam in radians; radius of the source.
    shadows : ndarray of float32, shape (4, 5)
        For surroundings and lamps: normal (2), offset, softness and strength of one straight soft shadow.
    """

    maps: Field
    irradiance: Field
    radius: float
    camera: Field
    lamp_at: Field
    lamp_colour: Field
    lamp_aim: Field
    lamp_cone: Field
    lamp_size: Field
    shadows: Field
    notes: dict[str, object] = field(default_factory=dict)


def sample_rig(rng: np.random.Generator, kind: str | None = None) -> Rig:
    """Draw the light of one photograph.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of randomness.
    kind : str or None
        ``door``, ``tubes``, ``torch``, ``flash``, ``sun``, ``flat`` or ``mixed``; drawn when None.
    """
    kinds = ("door", "tubes", "torch", "flash", "sun", "flat", "mixed")
    kind = kind or str(rng.choice(kinds, p=[0.16, 0.17, 0.25, 0.1, 0.06, 0.1, 0.16]))
    camera = _camera(rng)
    sky = _surroundings(rng, kind, camera)
    lamps = _lamps(rng, kind, camera)
    level = float(sky.mean()) + 1e-6
    balance = {"torch": 0.16, "flash": 0.25, "sun": 0.3}.get(kind, 1.0) * log_uniform(rng, 0.4, 2.5)
    maps = np.stack([sky if s == 0 else cv2.GaussianBlur(sky, (0, 0), s) for s in BLURS]) * (balance / level)
    shadows = np.stack([_shadow(rng) for _ in range(1 + LAMPS)])
    notes: dict[str, object] = {"light": kind}
    return Rig(
        maps.astype(np.float32), irradiance_of(maps[1]), log_uniform(rng, 1.5, 12), camera, *lamps, shadows, notes
    )


def _camera(rng: np.random.Generator) -> Field:
    """Place the camera: lens of 50 to 85 degrees across, tilted by up to some 35 degrees."""
    distance = 0.5 / np.tan(np.radians(rng.uniform(50, 85)) / 2)
    tilt, turn = abs(rng.normal(0, np.radians(16))), rng.uniform(0, 2 * np.pi)
    tilt = min(tilt, np.radians(48))
    side = np.sin(tilt)
    return np.asarray([side * np.cos(turn), side * np.sin(turn), np.cos(tilt)], np.float32) * np.float32(distance)


def colour_of(rng: np.random.Generator, spread: float = 0.25) -> NDArray[np.float64]:
    """Linear RGB of mean one between warm and cool, with a little green or magenta."""
    warm = rng.normal(0, spread)
    colour = np.exp(np.asarray([warm, rng.normal(0, 0.06), -warm]))
    return np.asarray(colour / colour.mean())


def _to_map(directions: NDArray[np.float64]) -> NDArray[np.int32]:
    """Fixed-point (1/8 pixel) map positions of directions, shape (N, 3) to (N, 2)."""
    unit = directions / np.linalg.norm(directions, axis=1, keepdims=True)
    place = unit[:, :2] / (1.0 + np.clip(unit[:, 2:], 0, 1))
    return np.asarray(np.round((place * 0.5 + 0.5) * (SIZE - 1) * 8), np.int32)


def _panel(
    rng: np.random.Generator, sky: Field, size: tuple[float, float], radiance: NDArray[np.float64],
    towards: NDArray[np.float64] | None = None,
) -> None:  # fmt: skip
    """Paint a flat rectangle, seen at a random (or given) direction, into the map; angles in radians."""
    if towards is None:
        polar, turn = np.arccos(rng.uniform(0.02, 1)), rng.uniform(0, 2 * np.pi)
        towards = np.asarray([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)])
    across = np.cross(towards, rng.normal(0, 1, 3))
    across /= np.linalg.norm(across)
    up = np.cross(towards, across)
    side = np.linspace(-1, 1, 9)
    ring = [(s, -1.0) for s in side] + [(1.0, s) for s in side] + [(-s, 1.0) for s in side] + [(-1.0, -s) for s in side]
    points = np.asarray([towards + 0.5 * size[0] * a * across + 0.5 * size[1] * b * up for a, b in ring])
    cv2.fillPoly(sky, [_to_map(points)], tuple(map(float, radiance)), cv2.LINE_AA, 3)


def _surroundings(rng: np.random.Generator, kind: str, camera: Field) -> Field:
    """Paint walls, openings, tubes and dark things into one map; float32, shape (96, 96, 3)."""
    sky = np.ones((SIZE, SIZE, 3), np.float32) * (0.25 * colour_of(rng, 0.15)).astype(np.float32)
    sky *= np.exp(0.35 * fractal(rng, (SIZE, SIZE), 40, 3))[..., None]
    if kind == "flat":
        sky *= 0.15
        sky += np.exp(0.12 * fractal(rng, (SIZE, SIZE), 70, 2))[..., None].astype(np.float32)
    for _ in range(rng.poisson(4)):
        wall = log_uniform(rng, 0.02, 0.8) * rng.uniform(0.4, 1.0, 3)
        _panel(rng, sky, (rng.uniform(0.2, 1.6), rng.uniform(0.2, 1.6)), wall)
    if kind in ("door", "mixed"):
        _panel(rng, sky, (rng.uniform(0.3, 1.3), rng.uniform(0.3, 1.3)), log_uniform(rng, 3, 25) * colour_of(rng, 0.2))
    if kind in ("tubes", "mixed") or rng.random() < 0.15:
        colour = colour_of(rng, 0.12)
        for _ in range(rng.integers(1, 6)):
            _panel(rng, sky, (rng.uniform(0.3, 1.3), rng.uniform(0.03, 0.12)), log_uniform(rng, 10, 60) * colour)
    for _ in range(rng.poisson(2)):
        _panel(rng, sky, (rng.uniform(0.05, 0.3), rng.uniform(0.3, 1.4)), log_uniform(rng, 0.01, 0.15) * np.ones(3))
    if rng.random() < 0.6:
        eye = camera.astype(np.float64) / np.linalg.norm(camera)
        _panel(rng, sky, (rng.uniform(0.1, 0.9), rng.uniform(0.1, 0.6)), np.full(3, log_uniform(rng, 0.01, 0.2)), eye)
    return sky


def _lamps(rng: np.random.Generator, kind: str, camera: Field) -> tuple[Field, Field, Field, Field, Field]:
    """Place the near lamps of the given kind of light."""
    at = np.tile(np.asarray([[0, 0, 3.0]], np.float32), (LAMPS, 1))
    colour, aim = np.zeros((LAMPS, 3), np.float32), np.zeros((LAMPS, 3), np.float32)
    cone, size = np.full(LAMPS, 3.0, np.float32), np.full(LAMPS, 0.03, np.float32)
    lit = {"torch": 1, "mixed": int(rng.random() < 0.5)}.get(kind, int(rng.random() < 0.08)) + int(rng.random() < 0.12)
    for lamp in range(min(lit, 2)):
        at[lamp], height = _torch_place(rng)
        aim[lamp, :2] = rng.normal(0, 0.22, 2)
        cone[lamp] = log_uniform(rng, 0.12, 1.2)
        size[lamp] = log_uniform(rng, 0.01, 0.12)
        colour[lamp] = colour_of(rng, 0.2) * log_uniform(rng, 0.5, 3.5) * height**2 * np.pi
    if kind == "flash":
        at[2] = camera + rng.normal(0, 0.04, 3).astype(np.float32)
        size[2] = log_uniform(rng, 0.008, 0.03)
        colour[2] = colour_of(rng, 0.1) * log_uniform(rng, 0.8, 3) * float(np.sum(np.square(camera))) * np.pi
    if kind == "sun":
        direction = np.asarray([*rng.normal(0, 1, 2), rng.uniform(0.3, 2.5)])
        at[2] = 60 * direction / np.linalg.norm(direction)
        size[2], colour[2] = 0.3, colour_of(rng, 0.12) * rng.uniform(1, 4) * 3600 * np.pi
    return at, colour, aim, cone, size


def _torch_place(rng: np.random.Generator) -> tuple[Field, float]:
    """Hold a torch: from grazing to frontal; returns place and distance."""
    polar, turn, distance = np.arccos(rng.uniform(0.12, 0.98)), rng.uniform(0, 2 * np.pi), log_uniform(rng, 0.35, 2.5)
    place = distance * np.asarray([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)])
    return place.astype(np.float32), float(distance)


def _shadow(rng: np.random.Generator) -> Field:
    """Draw one straight soft shadow edge, usually absent."""
    turn = rng.uniform(0, 2 * np.pi)
    strength = rng.uniform(0.3, 0.95) if rng.random() < 0.18 else 0.0
    return np.asarray(
        [np.cos(turn), np.sin(turn), rng.normal(0, 0.3), log_uniform(rng, 0.004, 0.2), strength], np.float32
    )


def irradiance_of(sky: Field) -> Field:
    """Cosine-weighted mean radiance over the hemisphere for every normal of the map; float32, shape (96, 96, 3)."""
    small = 16
    coarse = cv2.resize(np.asarray(sky, np.float32), (small, small), interpolation=cv2.INTER_AREA)
    axis = (np.arange(small) + 0.5) / small * 2 - 1
    x, y = np.meshgrid(axis, axis)
    r2 = np.minimum(x * x + y * y, 0.999)
    directions = np.stack([2 * x, 2 * y, 1 - r2], -1).reshape(-1, 3) / (1 + r2).reshape(-1, 1)
    weight = np.where(x * x + y * y < 1, 4 / np.square(1 + r2), 0).reshape(-1)
    cosine = np.clip(directions @ directions.T, 0, None) * weight
    total = (cosine @ coarse.reshape(-1, 3)) / np.maximum(np.sum(np.clip(directions[:, 2], 0, None) * weight), 1e-6)
    return np.asarray(cv2.resize(total.reshape(small, small, 3).astype(np.float32), (SIZE, SIZE)), np.float32)
