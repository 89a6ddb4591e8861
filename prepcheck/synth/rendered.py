"""Physically based pictures of synthetic scenes: what stands where, and each light's part with the exact truth.

Needs Mitsuba 3 (extra ``train``), which is imported when a :class:`Studio` is opened. Lengths in millimetres, origin
in the middle of the surface, x to the right, y down, z towards the camera.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import Layers
from prepcheck.synth.noise import Field, log_uniform
from prepcheck.synth.scene import make_surface
from prepcheck.synth.setting import MARGIN, Setting, numbers_of, sample_setting
from prepcheck.terms import State

if TYPE_CHECKING:
    from prepcheck.synth.tracer import Planes

STEP = 2
"""Pixels between the vertices of the mesh."""

SKIRT = 0.5
"""How far the outermost vertices are pulled out, so that no camera ray misses."""

ALUMINA, PAINT = 0.0773, 0.04
"""Normal reflectance of oxide (alumina, refractive index 1.77) and of paint (1.5), Fresnel equations."""


@dataclass(frozen=True)
class Render:
    """A rendered scene.

    Attributes
    ----------
    light : ndarray of float32, shape (3, 3, H, W)
        Linear radiance by light (surroundings, lamp, torch or flash) and colour; each light is scaled so that a white
        matt patch in the middle has radiance of about one.
    truth : ndarray of uint8, shape (2, H, W)
        State (codes of :class:`prepcheck.terms.State`, and ``BEAD``) and ground (0 or 1).
    notes : dict
        Recipe, light, tilt, distance, and the millimetres per pixel in the middle of the picture.
    """

    light: Field
    truth: NDArray[np.uint8]
    notes: dict[str, object]


def wall(bend_x: Field, bend_y: Field, step: float) -> Field:
    """Height whose slopes are nearest to the given ones (least squares, by cosine transform), mean zero.

    Parameters
    ----------
    bend_x, bend_y : ndarray of float32, shape (H, W)
        Slopes; H and W even.
    step : float
        Distance of the pixels.
    """
    rows, cols = bend_x.shape
    left = np.pad(0.5 * (bend_x[:, 1:] + bend_x[:, :-1]), ((0, 0), (1, 1)))
    above = np.pad(0.5 * (bend_y[1:] + bend_y[:-1]), ((1, 1), (0, 0)))
    divergence = np.asarray(left[:, 1:] - left[:, :-1] + above[1:] - above[:-1], np.float32) * np.float32(step)
    waves = 2 * (np.cos(np.pi * np.arange(cols) / cols)[None] + np.cos(np.pi * np.arange(rows) / rows)[:, None]) - 4
    waves[0, 0] = 1.0
    spectrum = cv2.dct(divergence) / waves.astype(np.float32)
    spectrum[0, 0] = 0.0
    return np.asarray(cv2.idct(spectrum), np.float32)


def relief(layers: Layers, drop: float) -> Field:
    """Height of the whole surface in mm: relief, wall shape, and the background `drop` mm below the part."""
    rows, cols = layers.shape
    small = (cols // (2 * STEP) * 2, rows // (2 * STEP) * 2)
    bends = [cv2.resize(b, small, interpolation=cv2.INTER_AREA) for b in (layers.bend_x, layers.bend_y)]
    big = wall(np.asarray(bends[0], np.float32), np.asarray(bends[1], np.float32), layers.mm_per_px * cols / small[0])
    height = layers.height + cv2.resize(big, (cols, rows), interpolation=cv2.INTER_CUBIC)
    behind = layers.state == State.BACKGROUND
    if behind.all():
        return np.asarray(height, np.float32)
    sunk = cv2.GaussianBlur(behind.astype(np.float32), (0, 0), 0.7 * STEP)  # else the side of a step is a staircase
    return np.asarray(height - np.float32(drop) * sunk, np.float32)


def mesh_points(layers: Layers, drop: float) -> Field:
    """Vertices of the mesh, mirrored margin included; float32, shape (rows, columns, 3), mm."""
    rows, cols = layers.shape
    soft = cv2.GaussianBlur(relief(layers, drop), (0, 0), 0.5 * STEP)
    xs, ys = (np.arange(-int(MARGIN * n), n + int(MARGIN * n) + 1, STEP, dtype=np.float32) for n in (cols, rows))
    x, y = np.meshgrid(xs, ys)
    z = cv2.remap(soft, x - 0.5, y - 0.5, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    mm = np.float32(layers.mm_per_px)
    for edge, out in (
        (np.s_[:, 0], (-cols, 0)),
        (np.s_[:, -1], (cols, 0)),
        (np.s_[0], (0, -rows)),
        (np.s_[-1], (0, rows)),
    ):
        x[edge] += SKIRT * out[0]
        y[edge] += SKIRT * out[1]
    return np.stack([(x - cols / 2) * mm, (y - rows / 2) * mm, z], axis=-1).astype(np.float32)


def planes_of(layers: Layers) -> Planes:
    """Textures of `layers` for the tracer; a part's rim is softened by a pixel, since nothing is that sharp."""
    from prepcheck.synth.tracer import Planes

    dx, dy = layers.slopes()
    skin = np.where((layers.state == State.OXIDE) | (layers.state == State.PIT), ALUMINA, PAINT).astype(np.float32)
    turn = 2 * layers.theta
    planes = [
        np.dstack([dx, dy, layers.cavity, skin]),
        np.dstack([layers.base, layers.metal]),
        np.dstack([layers.alpha_u, layers.alpha_v, np.cos(turn), np.sin(turn)]),
    ]
    edge = rim(layers.state) > 0
    if edge.any():
        for plane in planes:
            plane[edge] = cv2.GaussianBlur(plane, (5, 5), 1.0)[edge]
    return Planes(*planes)


class Studio:
    """Renders scenes of one size, one after the other, with one compiled kernel.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns of layers and pictures.
    variant : str
        Mitsuba variant, ``cuda_ad_rgb`` or ``llvm_ad_rgb``.
    samples : int
        Paths a pixel.
    """

    def __init__(self, shape: tuple[int, int], variant: str = "llvm_ad_rgb", samples: int = 24) -> None:
        import mitsuba

        mitsuba.set_variant(variant)
        from prepcheck.synth import tracer

        self.shape, self.samples, self._tracer = shape, samples, tracer
        counts = [len(range(-int(MARGIN * n), n + int(MARGIN * n) + 1, STEP)) for n in shape]
        self.stage = tracer.Stage(counts[0], counts[1])

    def take(self, layers: Layers, setting: Setting, seed: int, drop: float = 8.0, depth: int = 3) -> Render:
        """Render `layers` in `setting`; `seed` fixes the noise."""
        numbers = numbers_of(setting, self.shape, layers.mm_per_px)
        self.stage.load(mesh_points(layers, drop), planes_of(layers), numbers, setting.sky)
        light = self._tracer.trace(self.stage, self.shape, self.samples, seed, depth)
        points, distance, side = self._tracer.places(self.stage, self.shape)
        points = np.asarray(points[..., :2] / layers.mm_per_px + np.asarray(self.shape[::-1]) / 2, np.float32)
        truth, edge = truth_at(layers.state, layers.ground, points), rim(layers.state)
        side &= truth_at(edge, edge, points)[0] > 0
        truth[0, side], truth[1, side] = State.COATING, 0
        truth[:, np.isinf(distance)] = 0
        scale = {"mm_per_px": setting.view.mm_per_px(self.shape[1])}
        return Render(light, truth, {**layers.notes, **setting.notes, **scale})

    def scene(self, seed: int) -> Render:
        """Make and render the scene of `seed`."""
        layers = make_surface(seed, self.shape)
        rng = np.random.default_rng([seed, 2])
        setting = sample_setting(rng, layers)
        return self.take(layers, setting, seed, float(log_uniform(rng, 0.009, 0.08) * self.shape[1] * layers.mm_per_px))


def rim(state: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """1 where the part drops to the background, else 0; steep tool marks are not such a rim. uint8, shape (H, W)."""
    behind = (state == State.BACKGROUND).astype(np.uint8)
    square = np.ones((4 * STEP + 1, 4 * STEP + 1), np.uint8)
    return np.asarray(cv2.morphologyEx(behind, cv2.MORPH_GRADIENT, square), np.uint8)


def truth_at(state: NDArray[np.uint8], ground: NDArray[np.uint8], points: Field) -> NDArray[np.uint8]:
    """State and ground at points of the surface: the nearest pixel, mirrored beyond the planes.

    Parameters
    ----------
    state, ground : ndarray of uint8, shape (H, W)
        Planes of the surface.
    points : ndarray of float32, shape (R, C, 2)
        Column and row of each picture pixel's middle on the surface, in pixels from the planes' corner.

    Returns
    -------
    ndarray of uint8, shape (2, R, C)
    """
    places = []
    for k, n in ((1, state.shape[0]), (0, state.shape[1])):
        p = np.floor(points[..., k])
        places.append(np.clip(np.where(p < 0, -1 - p, np.where(p >= n, 2 * n - 1 - p, p)), 0, n - 1).astype(np.intp))
    return np.stack([state[tuple(places)], ground[tuple(places)]])


def save_render(folder: Path, seed: int, render: Render) -> Path:
    """Write a render as ``SEED.npz`` (``light`` float16, ``truth`` uint8) and ``SEED.json``; whole files only."""
    target = folder / f"{seed:07d}.npz"
    part = target.with_suffix(".part")
    target.with_suffix(".json").write_text(json.dumps({**render.notes, "seed": seed}))
    with part.open("wb") as file:
        np.savez(file, light=np.minimum(render.light, 6e4).astype(np.float16), truth=render.truth)
    part.rename(target)
    return target
