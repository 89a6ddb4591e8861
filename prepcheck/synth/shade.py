"""Light reflected to the camera: anisotropic GGX for metal and gloss, Lambert for oxide, paint and skin.

GGX (Walter 2007) with a stretched half-vector distribution, Smith shadowing and Schlick's Fresnel term; the
surroundings are sampled with a fixed, well-spread set of half vectors and smoothed copies of the map (so the sampling
leaves no grain that a model could learn). One implementation serves numpy and torch: planes are arrays of any common
shape, and the array module is an argument.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from prepcheck.synth.layers import Layers
from prepcheck.synth.light import BLURS, LAMPS, SIZE, Rig
from prepcheck.synth.noise import Field

Plane = Any
Vector = tuple[Plane, Plane, Plane]

SAMPLES = 14
"""Half vectors a pixel; more changed test renders by less than 1 %."""


@dataclass(frozen=True)
class Patch:
    """Planes to be shaded, each of one common shape; ``x`` and ``y`` in picture widths from the middle."""

    x: Plane
    y: Plane
    slope_x: Plane
    slope_y: Plane
    theta: Plane
    alpha_u: Plane
    alpha_v: Plane
    metal: Plane
    base: Vector
    cavity: Plane


@dataclass(frozen=True)
class Numbers:
    """A rig as numbers that broadcast against the planes (numpy: scalars; torch: shape (B, 1, 1))."""

    radius: Plane
    camera: Vector
    lamps: list[dict[str, Any]]
    shadows: list[list[Plane]]


def half_vectors(count: int) -> list[tuple[float, float]]:
    """Well-spread half-vector offsets in the slope plane for unit roughness: the additive golden-ratio sequence."""
    places = []
    for k in range(count):
        u, turn = (k + 0.5) / count, 2 * np.pi * ((k * 0.6180339887) % 1.0)
        reach = np.sqrt(u / (1 - u) if u < 0.97 else 32.0)
        places.append((float(reach * np.cos(turn)), float(reach * np.sin(turn))))
    return places


def _unit(xp: Any, x: Plane, y: Plane, z: Plane) -> Vector:
    inverse = 1.0 / xp.sqrt(x * x + y * y + z * z + 1e-12)
    return x * inverse, y * inverse, z * inverse


def _dot(a: Vector, b: Vector) -> Plane:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _frame(xp: Any, p: Patch) -> tuple[Vector, Vector, Vector]:
    """Normal, direction along the marks, direction across them."""
    n = _unit(xp, -p.slope_x, -p.slope_y, xp.ones_like(p.slope_x))
    c, s = xp.cos(p.theta), xp.sin(p.theta)
    t = _unit(xp, c, s, c * p.slope_x + s * p.slope_y)
    b = (n[1] * t[2] - n[2] * t[1], n[2] * t[0] - n[0] * t[2], n[0] * t[1] - n[1] * t[0])
    return n, t, b


def _smith(xp: Any, cosine: Plane, alpha: Plane) -> Plane:
    """Smith shadowing of one direction times 2, divided by the cosine: 2 / (c + sqrt(a2 + (1 - a2) c2))."""
    a2 = alpha * alpha
    return 2.0 / (cosine + xp.sqrt(a2 + (1.0 - a2) * cosine * cosine))


def _fresnel(xp: Any, f0: Plane, cosine: Plane) -> Plane:
    m = xp.clip(1.0 - cosine, 0.0, 1.0)
    return f0 + (1.0 - f0) * (m * m) * (m * m) * m


def shade(xp: Any, p: Patch, rig: Numbers, lookup: Any, samples: int = SAMPLES) -> Vector:
    """Radiance towards the camera.

    Parameters
    ----------
    xp : module
        ``numpy`` or ``torch``.
    p : Patch
        Surface planes.
    rig : Numbers
        Light and camera.
    lookup : callable
        ``lookup(direction, level)`` gives the surroundings' radiance as three planes; level None: irradiance / pi.
    samples : int
        Half vectors a pixel.

    Returns
    -------
    tuple of three planes
        Linear red, green and blue, in the rig's units.
    """
    n, t, b = _frame(xp, p)
    v = _unit(xp, rig.camera[0] - p.x, rig.camera[1] - p.y, rig.camera[2] + 0.0 * p.x)
    nv = xp.clip(_dot(n, v), 0.03, 1.0)
    f0 = tuple(p.metal * c + 0.04 * (1.0 - p.metal) for c in p.base)
    albedo = tuple((1.0 - p.metal) * c for c in p.base)
    alpha = xp.sqrt(p.alpha_u * p.alpha_v)
    open_sky = p.cavity * _lit(xp, p, rig.shadows[0])
    glossy = _mirror_sky(xp, p, rig, (n, t, b, v, nv, alpha), lookup, samples)
    around = lookup(n, None)
    rgb = [open_sky * (g * f + a * e) for g, f, a, e in zip(glossy, f0, albedo, around, strict=True)]
    for lamp, shadow in zip(rig.lamps, rig.shadows[1:], strict=True):
        _add_lamp(xp, rgb, p, (n, t, b, v, nv, alpha), f0, albedo, lamp, shadow)
    return rgb[0], rgb[1], rgb[2]


def _mirror_sky(xp: Any, p: Patch, rig: Numbers, frame: Any, lookup: Any, samples: int) -> list[Plane]:
    """Mean reflected radiance of the surroundings for unit reflectance."""
    n, t, b, v, nv, alpha = frame
    total: list[Plane] = [0.0, 0.0, 0.0]
    level = xp.clip(1.0 + 2.2 * alpha, 1.0, 3.0)
    for hu, hv in half_vectors(samples):
        lu, lv = p.alpha_u * hu, p.alpha_v * hv
        h = _unit(xp, *(lu * t[i] + lv * b[i] + n[i] for i in range(3)))
        vh = xp.clip(_dot(v, h), 0.02, 1.0)
        out = tuple(2.0 * vh * h[i] - v[i] for i in range(3))
        nl = xp.clip(_dot(n, out), 0.0, 1.0)
        nh = xp.clip(_dot(n, h), 0.05, 1.0)
        visible = _smith(xp, nl + 1e-4, alpha) * _smith(xp, nv, alpha) * nl * nv
        weight = visible * vh / (nv * nh) * (1.0 / samples)
        far = (out[0] + p.x / rig.radius, out[1] + p.y / rig.radius, out[2])
        light = lookup(far, level)
        total = [total[i] + weight * light[i] for i in range(3)]
    return total


def _lit(xp: Any, p: Patch, shadow: list[Plane]) -> Plane:
    """Share of a light that passes its shadow edge."""
    nx, ny, offset, soft, strength = shadow
    across = xp.clip((p.x * nx + p.y * ny - offset) / soft + 0.5, 0.0, 1.0)
    return 1.0 - strength * across * across * (3.0 - 2.0 * across)


def _add_lamp(
    xp: Any, rgb: list[Plane], p: Patch, frame: Any, f0: Any, albedo: Any, lamp: dict[str, Any], shadow: list[Plane]
) -> None:
    """Add one near lamp: beam, inverse square, anisotropic highlight widened by the lamp's size, diffuse."""
    n, t, b, v, nv, alpha = frame
    at, aim = lamp["at"], lamp["aim"]
    to = (at[0] - p.x, at[1] - p.y, at[2] + 0.0 * p.x)
    d2 = _dot(to, to)
    light = _unit(xp, *to)
    axis = _unit(xp, *(at[i] - aim[i] + 1e-6 for i in range(3)))
    off = xp.clip(1.0 - _dot(light, axis), 0.0, 2.0) / (1.0 - xp.cos(lamp["cone"]) + 1e-4)
    beam = 1.0 / (1.0 + off * off * off) + 0.03
    nl = xp.clip(_dot(n, light), 0.0, 1.0)
    power = beam * nl / d2 * _lit(xp, p, shadow) * (0.3 + 0.7 * p.cavity)
    h = _unit(xp, *(light[i] + v[i] for i in range(3)))
    spread = lamp["size"] / xp.sqrt(d2) * 0.35
    au, av = p.alpha_u + spread, p.alpha_v + spread
    nh, vh = xp.clip(_dot(n, h), 0.02, 1.0), xp.clip(_dot(v, h), 0.0, 1.0)
    e = xp.square(_dot(t, h) / au) + xp.square(_dot(b, h) / av) + nh * nh
    lobe = 1.0 / (np.pi * au * av * e * e) * _smith(xp, nl + 1e-4, alpha) * _smith(xp, nv, alpha) * 0.25
    for i in range(3):
        rgb[i] = rgb[i] + power * lamp["colour"][i] * (_fresnel(xp, f0[i], vh) * lobe + albedo[i] / np.pi)


def numbers_of(rig: Rig) -> Numbers:
    """The rig as plain numbers for the numpy path."""
    lamps = [
        {
            "at": [float(c) for c in rig.lamp_at[k]],
            "aim": [float(c) for c in rig.lamp_aim[k]],
            "colour": [float(c) for c in rig.lamp_colour[k]],
            "cone": np.float32(rig.lamp_cone[k]),
            "size": float(rig.lamp_size[k]),
        }
        for k in range(LAMPS)
        if rig.lamp_colour[k].any()
    ]
    lit = [k for k in range(LAMPS) if rig.lamp_colour[k].any()]
    shadows = [[float(c) for c in rig.shadows[k]] for k in [0, *[k + 1 for k in lit]]]
    return Numbers(rig.radius, (float(rig.camera[0]), float(rig.camera[1]), float(rig.camera[2])), lamps, shadows)


def patch_of(layers: Layers) -> Patch:
    """Planes of whole layers for the numpy path."""
    rows, cols = layers.shape
    ys, xs = np.mgrid[0:rows, 0:cols].astype(np.float32)
    dx, dy = layers.slopes()
    base = (layers.base[..., 0], layers.base[..., 1], layers.base[..., 2])
    return Patch(
        (xs - (cols - 1) / 2) / cols, (ys - (rows - 1) / 2) / cols, dx, dy, layers.theta,
        layers.alpha_u, layers.alpha_v, layers.metal, base, layers.cavity,
    )  # fmt: skip


class SkyLookup:
    """Bilinear look-up in a rig's maps for numpy planes."""

    def __init__(self, rig: Rig) -> None:
        self.levels = [np.ascontiguousarray(m) for m in rig.maps]
        self.irradiance = rig.irradiance

    def __call__(self, direction: Vector, level: Plane) -> list[Field]:
        """Radiance of `direction` (need not be unit length) as three planes; level None: irradiance / pi."""
        x, y, z = _unit(np, *direction)
        scale = 0.5 * (SIZE - 1) / (1.0 + np.clip(z, 0.0, 1.0))
        u, v = x * scale + 0.5 * (SIZE - 1), y * scale + 0.5 * (SIZE - 1)
        if level is None:
            return list(np.moveaxis(_sample(self.irradiance, u, v), -1, 0))
        total = np.zeros((*u.shape, 3), np.float32)
        for k in range(1, len(BLURS)):
            total += np.clip(1.0 - np.abs(level - k), 0, 1)[..., None] * _sample(self.levels[k], u, v)
        return list(np.moveaxis(total, -1, 0))


def _sample(sky: Field, u: Plane, v: Plane) -> Field:
    u32, v32 = np.asarray(u, np.float32), np.asarray(v, np.float32)
    return np.asarray(cv2.remap(sky, u32, v32, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)


def radiance(layers: Layers, rig: Rig, samples: int = SAMPLES) -> Field:
    """Linear RGB picture of `layers` under `rig`; float32, shape (H, W, 3), camera response not yet applied."""
    planes = shade(np, patch_of(layers), numbers_of(rig), SkyLookup(rig), samples)
    return np.asarray(np.stack(planes, axis=-1), np.float32)
