"""How a sample photo is taken: where the phone is, what lights the wall, and what the phone makes of it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.bowser import Array, to_canvas
from prepcheck.synth.camera import Camera, _lens, develop
from prepcheck.synth.layers import Layers
from prepcheck.synth.light import BLURS, LAMPS, SIZE, Rig, _panel, irradiance_of
from prepcheck.synth.noise import Field, fractal
from prepcheck.synth.shade import Patch, SkyLookup, numbers_of, patch_of, shade

STRIP = 96
"""Rows shaded at a time: bounds memory."""


@dataclass(frozen=True)
class View:
    """Where the phone is: a pinhole camera that looks at the middle of the wall.

    Attributes
    ----------
    width : float
        Millimetres of wall across the middle of the picture.
    tilt, turn, roll : float
        Degrees off square to the wall; direction of that tilt (0: from the right, 90: from below); turn about its axis.
    distance : float
        From the wall in picture widths; 0.85 is a field of view of 61 degrees, a phone's main lens.
    """

    width: float
    tilt: float = 8.0
    turn: float = 90.0
    roll: float = 0.0
    distance: float = 0.85

    @property
    def eye(self) -> Array:
        """Place of the camera in picture widths, z off the wall."""
        tilt, turn = np.radians([self.tilt, self.turn])
        return self.distance * np.asarray([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)])

    def from_mm(self, size: tuple[int, int]) -> Array:
        """Homography from mm on the wall to pixels (x, y) of a picture of `size` (width, height), shape (3, 3)."""
        forward = -self.eye / self.distance
        right = np.asarray([1.0, 0, 0]) - forward[0] * forward
        right /= np.linalg.norm(right)
        down = np.asarray([0, 1.0, 0]) - forward[1] * forward
        down -= (down @ right) * right
        down /= np.linalg.norm(down)
        c, s = np.cos(np.radians(self.roll)), np.sin(np.radians(self.roll))
        axes = np.stack([c * right + s * down, c * down - s * right, forward])
        wall = np.stack([axes[:, 0] / self.width, axes[:, 1] / self.width, -axes @ self.eye], axis=1)
        focal = self.distance * size[0]
        lens = np.asarray([[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1]])
        whole = lens @ wall
        return np.asarray(whole / whole[2, 2])


@dataclass(frozen=True)
class Lamp:
    """A near lamp: place and aim in picture widths (z off the wall), strength at its aim, half-angle (rad), radius, tint."""

    at: tuple[float, float, float]
    aim: tuple[float, float] = (0.0, 0.0)
    power: float = 1.0
    cone: float = 0.6
    size: float = 0.04
    colour: tuple[float, float, float] = (1.0, 0.98, 0.94)


@dataclass(frozen=True)
class Light:
    """What lights the wall.

    Attributes
    ----------
    seed : int
        Of the walls of the workshop.
    panels : tuple of (azimuth, height, width, tall, radiance)
        Bright or dark rectangles around: degrees (azimuth as `View.turn`; height 90 is straight off the wall), radians, and
        radiance against walls of 0.25.
    ambient : float
        Mean radiance of the surroundings.
    lamps : tuple of Lamp
        At most three.
    """

    seed: int
    panels: tuple[tuple[float, float, float, float, float], ...]
    ambient: float = 1.0
    lamps: tuple[Lamp, ...] = ()


def rig_of(light: Light, view: View) -> Rig:
    """Make the rig of :mod:`prepcheck.synth.light` that `light` describes."""
    rng = np.random.default_rng(light.seed)
    sky = np.full((SIZE, SIZE, 3), 0.25, np.float32) * np.exp(0.3 * fractal(rng, (SIZE, SIZE), 30, 3))[..., None]
    for azimuth, height, width, tall, radiance in light.panels:
        _panel(rng, sky, (width, tall), np.full(3, radiance), _direction(azimuth, height))
    _panel(rng, sky, (0.5, 0.35), np.full(3, 0.06), view.eye / view.distance)
    maps = np.stack([sky if s == 0 else cv2.GaussianBlur(sky, (0, 0), s) for s in BLURS])
    maps = np.asarray(maps * (light.ambient / float(sky.mean())), np.float32)
    shadows = np.tile(np.asarray([1, 0, 0, 0.1, 0], np.float32), (1 + LAMPS, 1))
    lamps = _lamps(light)
    return Rig(maps, irradiance_of(maps[1]), 6.0, np.asarray(view.eye, np.float32), *lamps, shadows)


def _lamps(light: Light) -> tuple[Field, Field, Field, Field, Field]:
    """Place, power, aim, cone and size of all lamps; unused ones are dark."""
    at, colour, aim = np.full((LAMPS, 3), 3.0, np.float32), *np.zeros((2, LAMPS, 3), np.float32)
    cone, size = np.full(LAMPS, 3.0, np.float32), np.full(LAMPS, 0.03, np.float32)
    for k, lamp in enumerate(light.lamps):
        at[k], aim[k, :2], cone[k], size[k] = lamp.at, lamp.aim, lamp.cone, lamp.size
        reach = float(np.sum(np.square(np.subtract(lamp.at, (*lamp.aim, 0.0)))))
        colour[k] = np.asarray(lamp.colour) * lamp.power * reach * np.pi
    return at, colour, aim, cone, size


def _direction(azimuth: float, height: float) -> Array:
    a, h = np.radians([azimuth, height])
    return np.asarray([np.cos(h) * np.cos(a), np.cos(h) * np.sin(a), np.sin(h)])


def lit(layers: Layers, light: Light, view: View) -> Field:
    """Linear radiance of the wall towards the phone, in strips; float32, shape (H, W, 3)."""
    whole, rig = patch_of(layers), rig_of(light, view)
    grow = layers.shape[1] * layers.mm_per_px / view.width
    numbers, lookup = numbers_of(rig), SkyLookup(rig)
    picture = np.empty((*layers.shape, 3), np.float32)
    for top in range(0, layers.shape[0], STRIP):
        rows = np.s_[top : top + STRIP]
        picture[rows] = np.stack(shade(np, _rows(whole, rows, grow), numbers, lookup), axis=-1)
    return picture


def _rows(whole: Patch, rows: slice, grow: float) -> Patch:
    """Cut rows out of all planes, with places in picture widths instead of widths of the planes."""
    return Patch(
        whole.x[rows] * grow, whole.y[rows] * grow, whole.slope_x[rows], whole.slope_y[rows], whole.theta[rows],
        whole.alpha_u[rows], whole.alpha_v[rows], whole.metal[rows],
        (whole.base[0][rows], whole.base[1][rows], whole.base[2][rows]), whole.cavity[rows],
    )  # fmt: skip


def project(
    plane: Field | NDArray[np.uint8], layers: Layers, view: View, size: tuple[int, int], how: int
) -> NDArray[np.generic]:
    """See a plane of `layers` through the phone's lens, in a picture of `size` (width, height).

    Raises
    ------
    ValueError
        The picture shows more than the planes hold.
    """
    to_picture = view.from_mm(size) @ np.linalg.inv(to_canvas(layers))
    ends = np.asarray([[(0, 0), (size[0] - 1, 0), (size[0] - 1, size[1] - 1), (0, size[1] - 1)]], np.float64)
    seen = cv2.perspectiveTransform(ends, np.linalg.inv(to_picture))[0]
    if (seen < 0).any() or (seen > np.asarray(layers.shape[::-1]) - 1).any():
        raise ValueError(
            f"the wall is too small for the view: corners at {np.round(seen).tolist()} of {layers.shape[::-1]}"
        )
    return np.asarray(cv2.warpPerspective(plane, to_picture, size, flags=how))


def develop_photo(seed: int, linear: Field, camera: Camera) -> NDArray[np.uint8]:
    """Expose and develop as :func:`prepcheck.synth.camera.expose`, without its JPEG; uint8 RGB."""
    rng = np.random.default_rng(seed)
    picture = _lens(linear, camera)
    gain = camera.grey / max(float(np.quantile(picture.mean(axis=2)[::4, ::4], camera.anchor)), 1e-6)
    picture = picture * (np.asarray(camera.balance, np.float32) * np.float32(gain))
    noise = np.sqrt(camera.shot * np.clip(picture, 0, 1) + camera.read**2) * rng.standard_normal(
        picture.shape, np.float32
    )
    return np.asarray(np.round(develop(np.clip(picture + noise, 0, None), camera) * 255), np.uint8)
