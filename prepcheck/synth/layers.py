"""What a synthetic surface is made of: one plane per physical property, plus the truth."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.noise import Field

BEAD = 6
"""Truth code of weld bead and heat tint: it counts as cannot tell, and is scored nowhere."""

ALUMINIUM = (0.9096, 0.9154, 0.9226)
"""Normal reflectance of aluminium at 620, 550 and 443 nm (Rakic 1995 constants, Fresnel equations)."""

STEEL = (0.56, 0.545, 0.53)
"""Normal reflectance of plain steel, about (iron, Fresnel equations, rounded)."""


TONES = (0.004, 0.95)
"""Least and greatest reflectance or albedo in a scene."""


@dataclass
class Layers:
    """Planes of a surface under construction; everything is written in place by the painters.

    Attributes
    ----------
    mm_per_px : float
        Size of a pixel on the part, in millimetres.
    height : ndarray of float32, shape (H, W)
        Relief in millimetres, towards the camera.
    bend_x, bend_y : ndarray of float32, shape (H, W)
        Slope of the wall itself (curvature, dents, chamfers), no unit.
    theta : ndarray of float32, shape (H, W)
        Direction of the tool marks, radians from the x axis towards y.
    alpha_u, alpha_v : ndarray of float32, shape (H, W)
        GGX roughness along and across the marks.
    metal : ndarray of float32, shape (H, W)
        Share of the pixel that reflects as bare metal; the rest scatters as a dielectric.
    base : ndarray of float32, shape (H, W, 3)
        Linear RGB: reflectance of the metal or albedo of the dielectric.
    cavity : ndarray of float32, shape (H, W)
        Share of the sky that the pixel sees (1: open).
    state : ndarray of uint8, shape (H, W)
        Truth by the codes of :class:`prepcheck.terms.State`, and `BEAD`.
    ground : ndarray of uint8, shape (H, W)
        1 inside the outline of a ground spot.
    """

    mm_per_px: float
    height: Field
    bend_x: Field
    bend_y: Field
    theta: Field
    alpha_u: Field
    alpha_v: Field
    metal: Field
    base: Field
    cavity: Field
    state: NDArray[np.uint8]
    ground: NDArray[np.uint8]
    notes: dict[str, object] = field(default_factory=dict)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.height.shape[0], self.height.shape[1]

    def slopes(self) -> tuple[Field, Field]:
        """Slope of the surface along x and y, relief and bend together, each float32 of shape (H, W)."""
        scale = 1.0 / (2.0 * self.mm_per_px)
        kernel = np.array([[-1.0, 0.0, 1.0]], np.float32) * scale
        dx = cv2.filter2D(self.height, -1, kernel, borderType=cv2.BORDER_REFLECT)
        dy = cv2.filter2D(self.height, -1, kernel.T, borderType=cv2.BORDER_REFLECT)
        limit = 1.2
        return np.clip(dx + self.bend_x, -limit, limit), np.clip(dy + self.bend_y, -limit, limit)

    def mix(self, share: Field, **planes: object) -> None:
        """Blend the named planes towards new values by `share` (0..1, shape (H, W))."""
        left, top, width, height = cv2.boundingRect((share > 0).astype(np.uint8))
        box = (slice(top, top + height), slice(left, left + width))
        for name, value in planes.items():
            plane, part = getattr(self, name)[box], share[box]
            new = np.asarray(value, np.float32)
            new = new[box] if new.shape[:2] == self.shape else new
            plane += (part[..., None] if plane.ndim == 3 else part) * (new - plane)

    def view(self, box: tuple[slice, slice]) -> Layers:
        """Give a window of the same planes: what is painted there is painted here."""
        planes = [getattr(self, f.name)[box] for f in fields(self) if f.name not in ("mm_per_px", "notes")]
        return Layers(self.mm_per_px, *planes)

    def copy(self) -> Layers:
        """Copy every plane."""
        planes = [getattr(self, f.name).copy() for f in fields(self) if f.name not in ("mm_per_px", "notes")]
        return Layers(self.mm_per_px, *planes)


def blank(shape: tuple[int, int], mm_per_px: float) -> Layers:
    """Make flat, empty layers of background of the given shape."""

    def full(value: float) -> Field:
        return np.full(shape, value, np.float32)

    return Layers(
        mm_per_px, full(0.0), full(0.0), full(0.0), full(0.0), full(0.4), full(0.4), full(0.0),
        np.full((*shape, 3), 0.3, np.float32), full(1.0), np.zeros(shape, np.uint8), np.zeros(shape, np.uint8),
    )  # fmt: skip
