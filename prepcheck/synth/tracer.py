"""Paths of light through a synthetic scene, traced on Mitsuba's arrays: one kernel, three lights at once.

The surface is a displaced mesh for visibility, shadows and interreflection; its finest relief is the shading normal.
Metal is an anisotropic GGX conductor turned along the tool marks (Walter 2007; visible normals: Dupuy and Benyoub
2023); oxide and paint are diffuse under a rough dielectric skin. Each light's part is summed apart, because light is
linear. Surroundings and panels are sampled together with the surface (Veach's balance heuristic). Lengths in
millimetres, origin in the middle of the surface, z towards the camera.

A Mitsuba variant must be set before this module is used; scene numbers live in buffers, so that one compiled kernel
serves all scenes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import drjit as dr
import mitsuba as mi
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.finish import STEEP, Spot
from prepcheck.synth.noise import Field
from prepcheck.synth.setting import LAMPS, TORCHES
from prepcheck.synth.surroundings import CELLS, sky_table

PANELS = (LAMPS, TORCHES)

BLOCKERS, PANEL = 6, 14
"""First row of the two blockers (4 rows each), and of the panels (5 rows each), in the numbers."""

ROWS = PANEL + 5 * sum(PANELS)
LATTICE = tuple(float((1.0850702455 ** -(k + 1)) % 1) for k in range(8))
"""Steps of an additive lattice in eight dimensions (generalised golden ratio): the first bounce's even spread."""


@dataclass(frozen=True)
class Planes:
    """Textures of a surface, float32, shape (H, W, 4) each.

    ``shape``: slope along x and y, cavity, normal reflectance of the dielectric. ``look``: linear RGB and metal share.
    ``lobe``: roughness along and across the marks, cosine and sine of twice their direction.
    """

    shape: Field
    look: Field
    lobe: Field


def _own(array: Any) -> Any:
    """A device copy of `array`, flat; aligned alike every time, which borrowed memory is not, so kernels are reused."""
    flat = mi.Float(np.ascontiguousarray(array, np.float32).ravel()) + dr.opaque(mi.Float, 0)
    dr.eval(flat)
    return flat


def _texture(array: Field, wrap: Any) -> Any:
    return mi.Texture2f(mi.TensorXf(_own(array), array.shape), True, True, dr.FilterMode.Linear, wrap)


class Stage:
    """One scene on the device: mesh, textures, numbers. Not a dataclass, so that loops do not carry it along."""

    def __init__(self, rows: int, cols: int) -> None:
        self.grid = (rows, cols)
        self.mesh = mi.Mesh("surface", rows * cols, 2 * (rows - 1) * (cols - 1))
        places = mi.traverse(self.mesh)
        corner = np.arange(rows * cols, dtype=np.uint32).reshape(rows, cols)
        a, b, c, d = (corner[:-1, :-1], corner[:-1, 1:], corner[1:, :-1], corner[1:, 1:])
        faces = np.stack([np.stack([a, b, d], -1), np.stack([a, d, c], -1)])
        places["faces"] = mi.UInt32(faces.ravel())
        places["vertex_positions"] = mi.Float(self._flat())
        places.update()
        self.scene = mi.load_dict({"type": "scene", "surface": self.mesh})
        self.params = mi.traverse(self.scene)
        self.key = next(k for k in self.params.keys() if k.endswith("vertex_positions"))  # noqa: SIM118

    def _flat(self) -> Field:
        ys, xs = np.mgrid[0 : self.grid[0], 0 : self.grid[1]].astype(np.float32)
        return np.stack([xs, ys, 0 * xs], axis=-1).ravel()

    def load(self, points: Field, planes: Planes, numbers: Field, sky: Field) -> None:
        """Put a scene on the device: `points` (rows, cols, 3) in mm, `numbers` (ROWS, 3), `sky` (H, W, 3)."""
        self.params[self.key] = _own(points)
        self.params.update()
        self.shape, self.look, self.lobe = (
            _texture(p, dr.WrapMode.Mirror) for p in (planes.shape, planes.look, planes.lobe)
        )
        self.sky = _texture(sky, dr.WrapMode.Repeat)
        picks, density = sky_table(sky)
        self.picks, self.density, self.sky_grid = mi.UInt32(picks), _own(density), sky.shape[:2]
        self.zero = dr.opaque(mi.UInt32, 0)  # keeps the numbers out of the kernel's text
        self.numbers = _own(numbers)

    def row(self, index: Any) -> Any:
        """Three numbers of one row."""
        return dr.gather(mi.Vector3f, self.numbers, self.zero + mi.UInt32(index))


def _sky(stage: Stage, direction: Any) -> tuple[Any, Any]:
    """Radiance of the surroundings towards `direction`, and the density with which it is drawn."""
    rows, cols = stage.sky_grid
    turn = dr.atan2(direction.y, direction.x) * dr.inv_two_pi
    turn -= dr.floor(turn)
    polar = dr.safe_acos(direction.z) * dr.inv_pi
    value = mi.Color3f(stage.sky.eval(mi.Point2f(turn, polar)))
    row = dr.minimum(mi.UInt32(polar * rows), rows - 1)
    column = dr.minimum(mi.UInt32(turn * cols), cols - 1)
    return value, dr.gather(mi.Float, stage.density, row * cols + column)


def _draw_sky(stage: Stage, draw: Any, jitter: Any) -> Any:
    """Draw a direction of the surroundings."""
    rows, cols = stage.sky_grid
    texel = dr.gather(mi.UInt32, stage.picks, dr.minimum(mi.UInt32(draw * CELLS), CELLS - 1))
    row = texel // cols
    turn = (mi.Float(texel - row * cols) + jitter.x) * (dr.two_pi / cols)
    polar = (mi.Float(row) + jitter.y) * (dr.pi / rows)
    s, c = dr.sincos(polar)
    st, ct = dr.sincos(turn)
    return mi.Vector3f(s * ct, s * st, c)


def _blocked(stage: Stage, start: Any, direction: Any) -> tuple[Any, Any]:
    """Distance to the photographer or the phone along a ray (infinite when free), and their radiance."""
    far, colour = mi.Float(dr.inf), mi.Color3f(0)
    for k in range(2):
        centre, a, b, tone = (stage.row(BLOCKERS + 4 * k + i) for i in range(4))
        normal = dr.cross(a, b)
        t = dr.dot(centre - start, normal) / dr.dot(direction, normal)
        off = start + t * direction - centre
        x, y = dr.dot(off, a) / dr.squared_norm(a), dr.dot(off, b) / dr.squared_norm(b)
        inside = (t > 0) & (x * x * x * x + y * y * y * y < 1) & (t < far)
        far, colour = dr.select(inside, t, far), dr.select(inside, mi.Color3f(tone), colour)
    return far, colour


def _beam(stage: Stage, panel: Any, cosine: Any) -> Any:
    """Radiance of a panel at an angle to its axis: a Lambert emitter, or a beam with some spill light."""
    sharp = stage.row(panel + 4).x
    inside = dr.power(dr.maximum(cosine, 1e-4), sharp)
    return mi.Color3f(stage.row(panel + 3)) * dr.select(cosine > 0, dr.fma(0.97, inside, 0.03), 0)


def _panel_hit(stage: Stage, k: int, start: Any, direction: Any, far: Any) -> tuple[Any, Any]:
    """Radiance of panel `k` seen along a ray before `far`, and the density with which it is drawn."""
    at = PANEL + 5 * k
    centre, a, b, extra = stage.row(at), stage.row(at + 1), stage.row(at + 2), stage.row(at + 4)
    normal = dr.cross(a, b)
    size = dr.norm(normal)
    normal /= size
    cosine = -dr.dot(direction, normal)
    t = dr.dot(start - centre, normal) / dr.maximum(cosine, 1e-6)
    off = start + t * direction - centre
    x, y = dr.dot(off, a) / dr.squared_norm(a), dr.dot(off, b) / dr.squared_norm(b)
    hit = (cosine > 1e-5) & (t > 0) & (t < far) & (dr.abs(x) < 1) & (dr.abs(y) < 1)
    density = dr.select(hit, t * t / (cosine * 4.0 * size) * extra.y, 0)
    return dr.select(hit, _beam(stage, at, cosine), 0), density


def _draw_panel(stage: Stage, group: int, start: Any, draw: Any, place: Any) -> tuple[Any, Any, Any, Any]:
    """Draw a point on a light's panels: direction, distance, radiance, density per steradian."""
    first = PANEL + 5 * sum(PANELS[:group])
    count = stage.row(first + 4).z
    pick = mi.UInt32(dr.minimum(draw * count, count - 1))
    at = first + 5 * pick
    centre, a, b = stage.row(at), stage.row(at + 1), stage.row(at + 2)
    to = centre + a * (2 * place.x - 1) + b * (2 * place.y - 1) - start
    distance = dr.norm(to)
    direction = to / distance
    normal = dr.cross(a, b)
    size = dr.norm(normal)
    cosine = -dr.dot(direction, normal) / size
    density = distance * distance / (dr.maximum(cosine, 1e-5) * 4.0 * size * count)
    return direction, distance, _beam(stage, at, cosine), density


def _pair(rng: Any) -> Any:
    return mi.Point2f(rng.next_float32(), rng.next_float32())


def _ray(stage: Stage, x: Any, y: Any, lens: Any) -> Any:
    """Camera ray through picture position (x, y), each in half picture widths from the middle."""
    eye, ahead, right, down, optics = (stage.row(k) for k in range(5))
    through = ahead + x * right + y * down
    s, c = dr.sincos(dr.two_pi * lens.x)
    reach = optics.x * dr.sqrt(lens.y)
    shift = dr.normalize(right) * (reach * c) + dr.normalize(down) * (reach * s)
    return mi.Ray3f(eye + shift, dr.normalize(through * optics.y - shift))


def _draws(shift: Any, step: Any, rng: Any, first: Any) -> list[Any]:
    """Six draws between 0 and 1 for a surface point: evenly spread over a pixel's first points, else independent."""
    even = [shift[k] + step * LATTICE[k] for k in range(2, 8)]
    return [dr.select(first, e - dr.floor(e), rng.next_float32()) for e in even]


def _straight_lights(stage: Stage, spot: Spot, place: Any, facet: Any, draws: list[Any], active: Any) -> list[Any]:
    """Light of each of the three lights that comes straight to `place` and on to the viewer, by drawing the lights."""
    parts = []
    for light in range(3):
        if light == 0:
            direction = _draw_sky(stage, draws[0], mi.Point2f(draws[1], draws[2]))
            radiance, density = _sky(stage, direction)
            distance = mi.Float(dr.inf)
        else:
            direction, distance, radiance, density = _draw_panel(
                stage, light - 1, place, draws[0], mi.Point2f(draws[1], draws[2])
            )
        value, other = spot.value(direction)
        free = _blocked(stage, place, direction)[0] > distance * 0.999 if light else (
            _blocked(stage, place, direction)[0] == dr.inf
        )  # fmt: skip
        useful = active & free & (dr.dot(direction, facet) > 0) & (dr.max(value * radiance) > 0) & (density > 0)
        ray = mi.Ray3f(place, direction)
        ray.maxt = distance * 0.999
        lit = useful & ~stage.scene.ray_test(ray, useful)
        parts.append(dr.select(lit, value * radiance / (density + other), 0))
    return parts


def _escaped(stage: Stage, ray: Any, far: Any, density: Any) -> list[Any]:
    """Light of each light seen along a ray that was drawn from the surface with `density`; `far` is the next hit."""
    stop, tone = _blocked(stage, ray.o, ray.d)
    radiance, other = _sky(stage, ray.d)
    seen = dr.select(stop < dr.inf, tone, radiance * density / (density + other))
    parts = [dr.select(far == dr.inf, seen, 0)]
    near, k = dr.minimum(far, stop), 0
    for count in PANELS:
        total = mi.Color3f(0)
        for _ in range(count):
            radiance, other = _panel_hit(stage, k, ray.o, ray.d, near)
            total += radiance * density / (density + other)
            k += 1
        parts.append(total)
    return parts


@dr.syntax  # type: ignore[untyped-decorator,unused-ignore]
def _paths(stage: Any, x: Any, y: Any, pitch: Any, rng: Any, samples: int, depth: int, clamp: float) -> Any:
    """Mean radiance of each light over `samples` paths a pixel."""
    sky, lamp, torch = mi.Color3f(0), mi.Color3f(0), mi.Color3f(0)
    shift = [rng.next_float32() for _ in range(8)]
    sample = mi.UInt32(0)
    while sample < samples:
        step = mi.Float(sample)
        jitter = mi.Point2f(shift[0] + step * LATTICE[0], shift[1] + step * LATTICE[1])
        jitter = jitter - dr.floor(jitter)
        ray = _ray(stage, x + pitch * (jitter.x - 0.5), y + pitch * (jitter.y - 0.5), _pair(rng))
        weight = mi.Color3f(1)
        bounce = mi.UInt32(0)
        hit = stage.scene.ray_intersect_preliminary(ray, coherent=True)
        si = hit.compute_surface_interaction(ray)
        active = si.is_valid()
        sky += dr.select(active, 0, dr.minimum(_sky(stage, ray.d)[0], 3.0))
        while active:
            facet = si.n * dr.sign(si.n.z)
            spot = Spot(stage, si.p, facet, -ray.d)
            place = si.p + facet * (1e-3 * dr.norm(ray.o - si.p) * 0.1 + 1e-3)
            most = dr.select(bounce == 0, mi.Float(1e6), mi.Float(clamp))
            draws = _draws(shift, step, rng, bounce == 0)
            parts = _straight_lights(stage, spot, place, facet, draws, active)
            sky += dr.minimum(weight * parts[0], most)
            lamp += dr.minimum(weight * parts[1], most)
            torch += dr.minimum(weight * parts[2], most)
            direction = spot.draw(draws[3], mi.Point2f(draws[4], draws[5]))
            value, density = spot.value(direction)
            active = (density > 1e-6) & (dr.dot(direction, facet) > 0)
            weight = dr.select(active, weight * value / density, 0)
            ray = mi.Ray3f(place, direction)
            si = stage.scene.ray_intersect(ray, active)
            far = dr.select(si.is_valid(), si.t, dr.inf)
            parts = _escaped(stage, ray, far, density)
            sky += dr.select(active, dr.minimum(weight * parts[0], most), 0)
            lamp += dr.select(active, dr.minimum(weight * parts[1], most), 0)
            torch += dr.select(active, dr.minimum(weight * parts[2], most), 0)
            bounce += 1
            active &= si.is_valid() & (bounce < depth)
        sample += 1
    return sky / samples, lamp / samples, torch / samples


def _pixels(shape: tuple[int, int]) -> tuple[Any, Any]:
    """Picture positions of the pixels' middles, in half widths from the middle of the picture."""
    rows, cols = shape
    index = dr.arange(mi.UInt32, rows * cols)
    row = index // cols
    x = (mi.Float(index - row * cols) + 0.5) * (2.0 / cols) - 1.0
    return x, (mi.Float(row) + 0.5) * (2.0 / cols) - rows / cols


def trace(stage: Stage, shape: tuple[int, int], samples: int, seed: int, depth: int = 3, clamp: float = 3.0) -> Field:
    """Radiance of each light in every pixel.

    Parameters
    ----------
    stage : Stage
        A loaded scene.
    shape : (int, int)
        Rows and columns.
    samples : int
        Paths a pixel.
    seed : int
        The same seed gives the same noise.
    depth : int
        Surface points along a path.
    clamp : float
        Largest radiance that light which arrived over another surface point may add; keeps single sparks out.

    Returns
    -------
    ndarray of float32, shape (3, 3, H, W)
        Light (surroundings, lamp, torch), colour (linear red, green, blue), rows, columns.
    """
    rows, cols = shape
    rng = mi.PCG32(size=rows * cols, initstate=dr.opaque(mi.UInt64, seed))
    x, y = _pixels(shape)
    lights = _paths(stage, x, y, mi.Float(2.0 / cols), rng, samples, depth, clamp)
    dr.eval(lights)
    return np.stack([light.numpy().reshape(3, rows, cols) for light in lights])


def places(stage: Stage, shape: tuple[int, int]) -> tuple[Field, Field, NDArray[np.bool_]]:
    """Where each pixel's middle lies on the surface.

    Returns
    -------
    (ndarray of float32, shape (H, W, 3), ndarray of float32, shape (H, W), ndarray of bool, shape (H, W))
        Point in mm; distance from the camera in mm, infinite where the surface is missed; True on the side of a step.
    """
    x, y = _pixels(shape)
    si = stage.scene.ray_intersect(_ray(stage, x, y, mi.Point2f(0, 0)))
    point = si.p.numpy().reshape(3, *shape)
    distance = dr.select(si.is_valid(), si.t, dr.inf).numpy().reshape(shape)
    side = (si.is_valid() & (dr.abs(si.n.z) < STEEP)).numpy().reshape(shape)
    return np.moveaxis(point, 0, -1), distance, side
