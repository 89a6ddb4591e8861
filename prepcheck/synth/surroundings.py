"""Surroundings of a rendered scene as maps of radiance around the part: captured places and painted workshops.

A map is float32, shape (64, 128, 3): rows by polar angle from +z (out of the surface, towards the camera), columns by
azimuth from +x towards +y. Captured places: `shared/surroundings.npz` (source and licence in the file).
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.resources import folder
from prepcheck.synth.light import SIZE, _surroundings, sample_rig
from prepcheck.synth.noise import Field, fractal, log_uniform

SHAPE = (64, 128)
"""Rows and columns of a map."""

CELLS = 1 << 15
"""Entries of equal chance in the table from which directions of the surroundings are drawn."""

INDOORS = ("workshop", "warehouse", "hall", "lab", "lobby", "studio", "apartment", "esplanade", "bridge")
"""Captured places under a roof; they are drawn twice as often as the others."""


@cache
def captured() -> dict[str, Field]:
    """Captured places by name; float32, shape (64, 128, 3), y up, mean luminance one."""
    with np.load(folder("shared") / "surroundings.npz") as file:
        return {name: np.asarray(file[name], np.float32) for name in file.files if name != "source"}


def directions() -> NDArray[np.float64]:
    """Unit direction of every texel of a map, shape (64, 128, 3)."""
    rows, cols = SHAPE
    polar = ((np.arange(rows) + 0.5) / rows * np.pi)[:, None]
    turn = ((np.arange(cols) + 0.5) / cols * 2 * np.pi)[None, :]
    return np.stack([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar) + 0 * turn], axis=-1)


def turned(place: Field, rotation: NDArray[np.float64]) -> Field:
    """A captured place as a map around the part; `rotation`, shape (3, 3), takes surface to world (y up)."""
    world = directions() @ rotation.T
    rows, cols = place.shape[:2]
    u = (np.arctan2(world[..., 0], -world[..., 2]) / (2 * np.pi) + 0.5) * cols - 0.5
    v = np.arccos(np.clip(world[..., 1], -1, 1)) / np.pi * rows - 0.5
    found = cv2.remap(place, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    return np.asarray(np.maximum(found, 0), np.float32)


def pose(rng: np.random.Generator) -> NDArray[np.float64]:
    """Draw how the surface stands in the world: lying, upright like a tank wall, or anyhow; rotation, shape (3, 3)."""
    lying = rng.choice(3, p=[0.45, 0.42, 0.13])
    lean = (abs(rng.normal(0, 0.2)), np.pi / 2 + rng.normal(0, 0.25), rng.uniform(0, np.pi * 0.8))[lying]
    out = np.asarray([np.sin(lean), np.cos(lean), 0.0])
    across = np.cross(out, rng.normal(0, 1, 3))
    across /= np.linalg.norm(across)
    turn = rng.uniform(0, 2 * np.pi)
    spin = np.asarray([[np.cos(turn), 0, np.sin(turn)], [0, 1, 0], [-np.sin(turn), 0, np.cos(turn)]])
    return np.asarray(spin @ np.stack([across, np.cross(out, across), out], axis=1))


def painted(rng: np.random.Generator) -> tuple[str, Field]:
    """Paint a workshop: walls, openings, tubes and dark things in front, a dim floor or wall behind the part."""
    kind = str(rng.choice(["door", "tubes", "mixed", "flat"], p=[0.3, 0.3, 0.2, 0.2]))
    disc = _surroundings(rng, kind, sample_rig(rng, kind).camera)
    d = directions()
    scale = 0.5 * (SIZE - 1) / (1.0 + np.abs(d[..., 2]))
    u, v = (d[..., k] * scale + 0.5 * (SIZE - 1) for k in (0, 1))
    front = cv2.remap(disc, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR)
    behind = np.exp(0.4 * fractal(rng, SHAPE, 30, 3))[..., None] * log_uniform(rng, 0.03, 0.4) * disc.mean()
    return kind, np.asarray(np.where(d[..., 2:] > 0, front, behind), np.float32)


def sample_surroundings(rng: np.random.Generator) -> tuple[str, Field]:
    """Draw surroundings around the part.

    Returns
    -------
    (str, ndarray of float32, shape (64, 128, 3))
        Name, and radiance scaled so that a white matt patch facing +z has radiance one.
    """
    if rng.random() < 0.3:
        name, sky = painted(rng)
    else:
        names = sorted(captured())
        weight = np.asarray([2.0 if n in INDOORS else 1.0 for n in names])
        name = str(rng.choice(names, p=weight / weight.sum()))
        sky = turned(captured()[name], pose(rng))
    sky = sky * np.exp(np.asarray([1, 0, -1], np.float32) * np.float32(rng.normal(0, 0.1)))
    return name, np.asarray(sky / (white(sky) + 0.05 * float(sky.mean()) + 1e-6), np.float32)


def white(sky: Field) -> float:
    """Radiance of a white matt patch facing +z under a map (irradiance / pi, mean of the colours)."""
    rows, cols = SHAPE
    area = np.sin((np.arange(rows) + 0.5) / rows * np.pi)[:, None] * (2 * np.pi**2 / (rows * cols))
    return float((sky.mean(axis=2) * np.clip(directions()[..., 2], 0, None) * area).sum() / np.pi)


def sky_table(sky: Field) -> tuple[NDArray[np.uint32], Field]:
    """Importance table of surroundings.

    Parameters
    ----------
    sky : ndarray of float32, shape (H, W, 3)
        Radiance by polar angle from +z (rows) and azimuth (columns); what the surface faces is drawn more often.

    Returns
    -------
    (ndarray of uint32, shape (CELLS,), ndarray of float32, shape (H * W,))
        Texels to draw with equal chance, and the density per steradian of each texel.
    """
    rows, cols = sky.shape[:2]
    area = np.sin((np.arange(rows) + 0.5) / rows * np.pi)[:, None] * (2 * np.pi**2 / (rows * cols))
    around = cv2.blur(np.pad(sky.mean(axis=2), ((1, 1), (1, 1)), "wrap"), (3, 3))[1:-1, 1:-1]
    facing = 0.1 + np.clip(np.cos((np.arange(rows) + 0.5) / rows * np.pi), 0, 1)[:, None]
    power = (around + 0.02 * sky.mean()) * area * facing
    total = np.cumsum(power.ravel().astype(np.float64))
    picks = np.searchsorted(total, (np.arange(CELLS) + 0.5) / CELLS * total[-1]).clip(0, rows * cols - 1)
    chance = np.bincount(picks, minlength=rows * cols) / CELLS
    return picks.astype(np.uint32), (chance / np.broadcast_to(area, (rows, cols)).ravel()).astype(np.float32)
