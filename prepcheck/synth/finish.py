"""How a point of a rendered surface reflects, on Mitsuba's arrays: metal turned along the marks, oxide, paint.

Metal is an anisotropic GGX conductor (Walter 2007; visible normals: Dupuy and Benyoub 2023) with Schlick's Fresnel
term over the measured normal reflectance; oxide and paint are diffuse under a rough dielectric skin.
"""

from __future__ import annotations

from typing import Any

import drjit as dr
import mitsuba as mi

SCALE = 5
"""Row of the numbers that holds one over the surface's size, and how far the top lies from the side of a step."""

STEEP, LEVEL = 0.52, 0.75
"""A facet whose normal has a smaller z than the first is the side of a step: its own normal is used, and that of the
fine relief from the second on; in between both are mixed."""


class Spot:
    """Material and shading frame at points of the surface. Not a dataclass, so that loops do not carry it along."""

    def __init__(self, stage: Any, place: Any, facet: Any, view: Any) -> None:
        numbers = stage.row(SCALE)
        side = dr.clip((LEVEL - facet.z) / (LEVEL - STEEP), 0, 1)
        top = side * dr.rsqrt(dr.maximum(1 - facet.z * facet.z, 1e-6)) * numbers.z
        uv = mi.Point2f((place.x - top * facet.x) * numbers.x + 0.5, (place.y - top * facet.y) * numbers.y + 0.5)
        slope_x, slope_y, cavity, skin = stage.shape.eval(uv)
        red, green, blue, metal = stage.look.eval(uv)
        au, av, c2, s2 = stage.lobe.eval(uv)
        base = mi.Color3f(red, green, blue)
        self.f0 = metal * base + (1 - metal) * skin
        self.albedo = (1 - metal) * base * (1 - skin)
        self.au, self.av, self.cavity = dr.maximum(au, 0.03), dr.maximum(av, 0.03), cavity
        relief = dr.normalize(mi.Vector3f(-slope_x, -slope_y, 1))
        n = dr.lerp(relief, facet, side)
        n = dr.normalize(n + view * dr.maximum(0.06 - dr.dot(n, view), 0))
        turn = 0.5 * dr.atan2(s2, c2)
        s, c = dr.sincos(turn)
        t = dr.normalize(mi.Vector3f(c, s, 0) - n * (c * n.x + s * n.y))
        self.t, self.b, self.n = t, dr.cross(n, t), n
        self.view = self.local(view)
        glossy, matt = dr.mean(self.f0), dr.mean(self.albedo)
        self.glossy = dr.clip(glossy / (glossy + matt + 1e-4), 0.1, 0.95)

    def local(self, v: Any) -> Any:
        """`v` in the frame along the marks, across them and along the normal."""
        return mi.Vector3f(dr.dot(v, self.t), dr.dot(v, self.b), dr.dot(v, self.n))

    def _lambda(self, w: Any) -> Any:
        stretched = dr.square(self.au * w.x) + dr.square(self.av * w.y)
        return 0.5 * (dr.sqrt(1 + stretched / dr.maximum(w.z * w.z, 1e-6)) - 1)

    def value(self, direction: Any) -> tuple[Any, Any]:
        """Reflectance times cosine towards `direction`, and the density with which it is drawn."""
        v, w = self.view, self.local(direction)
        h = dr.normalize(v + w)
        e = dr.square(h.x / self.au) + dr.square(h.y / self.av) + dr.square(h.z)
        d = 1.0 / (dr.pi * self.au * self.av * e * e)
        shadow, both = 1 + self._lambda(v), 1 + self._lambda(v) + self._lambda(w)
        lobe = d / (4 * v.z)
        m = dr.clip(1 - dr.dot(v, h), 0, 1)
        fresnel = self.f0 + (1 - self.f0) * (m * m * m * m * m)
        value = fresnel * (lobe / both) + self.albedo * (w.z * dr.inv_pi)
        density = self.glossy * lobe / shadow + (1 - self.glossy) * w.z * dr.inv_pi
        up = w.z > 1e-4
        return dr.select(up, value * self.cavity, 0), dr.select(up, density, 0)

    def draw(self, pick: Any, place: Any) -> Any:
        """Draw a direction: a visible microfacet's mirror direction, or a cosine-weighted one."""
        v = self.view
        stretched = dr.normalize(mi.Vector3f(self.au * v.x, self.av * v.y, v.z))
        z = dr.fma(1 - place.y, 1 + stretched.z, -stretched.z)
        ring = dr.sqrt(dr.clip(1 - z * z, 0, 1))
        s, c = dr.sincos(dr.two_pi * place.x)
        cap = mi.Vector3f(ring * c, ring * s, z) + stretched
        h = dr.normalize(mi.Vector3f(cap.x * self.au, cap.y * self.av, cap.z))
        mirror = 2 * dr.dot(v, h) * h - v
        reach = dr.sqrt(place.y)
        matt = mi.Vector3f(reach * c, reach * s, dr.sqrt(dr.maximum(1 - place.y, 0)))
        w = dr.select(pick < self.glossy, mirror, matt)
        return self.t * w.x + self.b * w.y + self.n * w.z
