"""One synthetic photograph with its truth, from one seed."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.camera import Camera, expose, sample_camera
from prepcheck.synth.layers import BEAD
from prepcheck.synth.light import Rig, sample_rig
from prepcheck.synth.scene import Recipe, make_surface
from prepcheck.synth.shade import radiance
from prepcheck.terms import State


@dataclass(frozen=True)
class Picture:
    """A photograph and what it shows.

    Attributes
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        RGB.
    states : ndarray of uint8, shape (H, W)
        Codes of :class:`prepcheck.terms.State`; weld bead and heat tint are 255.
    ground : ndarray of uint8, shape (H, W)
        255 inside the true ground area.
    meta : dict
        Seed, scale, recipe, light, camera and true bright share.
    """

    image: NDArray[np.uint8]
    states: NDArray[np.uint8]
    ground: NDArray[np.uint8]
    meta: dict[str, object]


def warp_view(rng: np.random.Generator, shape: tuple[int, int], rig: Rig, strength: float = 1.0) -> NDArray[np.float64]:
    """Homography of a tilted view: the camera's own tilt as foreshortening, shape (3, 3), picture to picture."""
    rows, cols = shape
    tilt_x, tilt_y = (float(rig.camera[k] / np.linalg.norm(rig.camera)) * strength for k in (0, 1))
    scale = np.asarray([[2.0 / cols, 0, -1], [0, 2.0 / cols, -rows / cols], [0, 0, 1]])
    middle = np.asarray(
        [[1 + 0.25 * abs(tilt_x), 0, 0], [0, 1 + 0.25 * abs(tilt_y), 0], [-0.3 * tilt_x, -0.3 * tilt_y, 1]]
    )
    return np.asarray(np.linalg.inv(scale) @ middle @ scale)


def make_picture(
    seed: int, shape: tuple[int, int] = (768, 1024), recipe: Recipe | None = None, light: str | None = None,
    camera: Camera | None = None,
) -> Picture:  # fmt: skip
    """Photograph the scene of `seed`.

    Parameters
    ----------
    seed : int
        The same arguments give the same picture.
    shape : (int, int)
        Rows and columns.
    recipe : Recipe or None
        What to show; drawn when None.
    light : str or None
        Kind of light, see :func:`prepcheck.synth.light.sample_rig`.
    camera : Camera or None
        Settings; drawn when None.
    """
    layers = make_surface(seed, shape, recipe)
    rng = np.random.default_rng([seed, 1])
    rig = sample_rig(rng, light)
    camera = camera or sample_camera(rng)
    view = warp_view(rng, shape, rig)
    linear = cv2.warpPerspective(
        radiance(layers, rig), view, shape[::-1], flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
    )
    states, ground = (
        cv2.warpPerspective(plane, view, shape[::-1], flags=cv2.INTER_NEAREST, borderMode=cv2.BORDER_REFLECT)
        for plane in (layers.state, layers.ground)
    )
    states[states == BEAD] = State.CANNOT_TELL
    meta = {**layers.notes, **rig.notes, "mm_per_px": layers.mm_per_px, "camera": camera.as_dict()}
    return Picture(
        expose(rng, np.asarray(linear, np.float32), camera),
        np.asarray(states, np.uint8),
        np.asarray(ground * 255, np.uint8),
        meta,
    )
