"""Moved-light sets: one surface in one room, a torch held here and there, and a hand that does not hold still.

All photos of a set come from one phone: response, vignetting and sharpening stay, exposure, white balance, focus and
noise change. Relief (dents, seams, waves of the sheet) moves against the part's plane as the phone moves; a wall that is
curved as a whole is shaded so, but seen as if it were flat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo.photo import Plane
from prepcheck.synth.bowser import to_canvas
from prepcheck.synth.camera import Camera, expose, sample_camera
from prepcheck.synth.layers import BEAD, Layers
from prepcheck.synth.light import Rig, colour_of
from prepcheck.synth.noise import Field, log_uniform, soft
from prepcheck.synth.picture import Picture
from prepcheck.synth.recipe import Recipe, sample_recipe
from prepcheck.synth.sample_view import STRIP, View, _rows
from prepcheck.synth.scene import make_surface
from prepcheck.synth.shade import SkyLookup, numbers_of, patch_of, shade
from prepcheck.synth.torches import aimed, another, apart, draw_room, lead, with_flash
from prepcheck.terms import State

Array = NDArray[np.float64]
SHAPE = (960, 1280)
MARGIN = 1.1
"""Sides of the planes over those of the picture: room for the hand."""
SAMPLES = 8
"""Half vectors a pixel: half the work of 14, from which half of all pixels differ by less than 0.1 % and one in ten by 2 %."""
EVERY = 8
"""In one set of so many the torch hardly moves, and in another one the flash is on in one photo only."""
RELIEF_MM = 1.5
"""Relief finer than this does not move against the plane."""


@dataclass(frozen=True)
class Pose:
    """A phone in a hand: mm of wall across the picture, tilt (x, y) and roll in degrees, aim off the middle and distance
    in picture widths."""

    width: float
    tilt: tuple[float, float]
    roll: float
    aim: tuple[float, float]
    distance: float

    @property
    def view(self) -> View:
        """The same without the aim."""
        x, y = self.tilt
        return View(self.width, float(np.hypot(x, y)), float(np.degrees(np.arctan2(y, x))), self.roll, self.distance)

    def from_mm(self, size: tuple[int, int]) -> Array:
        """Homography from mm on the wall to pixels of a picture of `size` (width, height), shape (3, 3)."""
        shift = np.eye(3)
        shift[:2, 2] = np.multiply(self.aim, size[0])
        return np.asarray(shift @ self.view.from_mm(size))


@dataclass(frozen=True)
class Shake:
    """How far a hand moves between photos, standard deviations: degrees of tilt and roll, log of size, picture widths."""

    tilt: float = 2.5
    roll: float = 2.5
    size: float = 0.03
    aim: float = 0.02

    def pose(self, rng: np.random.Generator, base: Pose) -> Pose:
        """Hold the phone almost as before."""
        x, y = np.add(base.tilt, rng.normal(0, self.tilt, 2))
        u, v = np.add(base.aim, rng.normal(0, self.aim, 2))
        width, roll = base.width * np.exp(rng.normal(0, self.size)), base.roll + rng.normal(0, self.roll)
        return Pose(float(width), (float(x), float(y)), float(roll), (float(u), float(v)), base.distance)


def make_set(seed: int, shape: tuple[int, int] = SHAPE) -> list[Picture]:
    """Photograph the scene of `seed` two or three times under a moved torch.

    Parameters
    ----------
    seed : int
        The same seed and shape give the same set.
    shape : (int, int)
        Rows and columns of each photo.

    Returns
    -------
    list of Picture
        Truth in each photo's own frame. ``meta`` holds ``case`` (``moved``, ``still``: the torch hardly moved, or
        ``flash``: on in one photo only), ``to_first`` (homography from the photo's pixels to those of the first, true at
        the part's plane), ``to_mm`` (pixels to mm on the plane), ``torch``, ``torch_moved_deg`` (from the first photo's)
        and ``flash``.
    """
    rng = np.random.default_rng([seed, 2])
    layers = make_surface(seed, canvas(shape), _recipe(rng))
    case = {3: "still", 7: "flash"}.get(seed % EVERY, "moved")
    count = int(rng.choice([2, 3], p=[0.35, 0.65]))
    first = hold(rng, layers)
    poses = fit([first, *(Shake().pose(rng, first) for _ in range(count - 1))], layers, shape)
    torches = lead(rng, count, case == "still")
    room, power, phone = draw_room(rng), colour_of(rng, 0.2) * log_uniform(rng, 0.5, 3.5), sample_camera(rng)
    flashed = int(rng.integers(count)) if case == "flash" else -1
    pictures = []
    for k, (pose, torch) in enumerate(zip(poses, torches, strict=True)):
        rig = aimed(room, torch, power * torches[0].distance ** 2 * np.pi)
        rig = with_flash(rng, rig, eye(pose, layers)) if k == flashed else rig
        picture = photograph(rng, Seen(layers, pose, shape), rig, another(rng, phone))
        told = {
            "case": case, "to_first": to_first(poses, k, shape), "flash": k == flashed,
            "torch": {"off_square_deg": torch.off_square, "azimuth_deg": torch.azimuth, "distance": torch.distance},
            "torch_moved_deg": apart(torch, torches[0]),
        }  # fmt: skip
        pictures.append(replace(picture, meta={**picture.meta, **told}))
    return pictures


def canvas(shape: tuple[int, int]) -> tuple[int, int]:
    """Rows and columns of the planes for a photo of `shape`."""
    return round(shape[0] * MARGIN), round(shape[1] * MARGIN)


def _recipe(rng: np.random.Generator) -> Recipe:
    """Draw a part with ground spots, at the scale of a photo held over them."""
    kind = "spots" if rng.random() < 0.85 else "worked"
    return replace(sample_recipe(rng), kind=kind, mm_per_px=log_uniform(rng, 0.06, 0.35))


def hold(rng: np.random.Generator, layers: Layers) -> Pose:
    """Hold a phone over the whole of the planes: lens of 50 to 75 degrees across, seldom more than 20 degrees tilted."""
    width = layers.shape[1] * layers.mm_per_px
    x, y = np.clip(rng.normal(0, 7, 2), -18, 18)
    distance = 0.5 / np.tan(np.radians(rng.uniform(50, 75)) / 2)
    return Pose(width, (float(x), float(y)), float(rng.normal(0, 3)), (0.0, 0.0), float(distance))


def fit(poses: Sequence[Pose], layers: Layers, shape: tuple[int, int]) -> list[Pose]:
    """Bring all poses nearer by the same factor until each picture lies within the planes."""
    size = (shape[1], shape[0])
    ends = np.asarray([[(0, 0), (size[0] - 1, 0), (size[0] - 1, size[1] - 1), (0, size[1] - 1)]], np.float64)
    room = np.asarray(layers.shape[::-1]) - 1
    near = list(poses)
    for _ in range(100):
        seen = [cv2.perspectiveTransform(ends, to_canvas(layers) @ np.linalg.inv(p.from_mm(size))) for p in near]
        if all((s >= 0).all() and (s <= room).all() for s in seen):
            break
        near = [replace(p, width=0.98 * p.width) for p in near]
    return near


def to_first(poses: Sequence[Pose], number: int, shape: tuple[int, int]) -> list[list[float]]:
    """Homography from the pixels of photo `number` to those of the first."""
    size = (shape[1], shape[0])
    matrix = poses[0].from_mm(size) @ np.linalg.inv(poses[number].from_mm(size))
    return [[float(cell) for cell in row] for row in matrix / matrix[2, 2]]


def eye(pose: Pose, layers: Layers) -> Field:
    """Place of the phone in widths of the planes, as a rig wants it."""
    return np.asarray(pose.view.eye * pose.width / (layers.shape[1] * layers.mm_per_px), np.float32)


class Seen:
    """Which place of the planes each pixel of a photo shows, the relief moved against the plane."""

    def __init__(self, layers: Layers, pose: Pose, shape: tuple[int, int]) -> None:
        self.layers, self.pose, self.size = layers, pose, (shape[1], shape[0])
        from_picture = to_canvas(layers) @ np.linalg.inv(pose.from_mm(self.size))
        grid = np.stack(np.meshgrid(*(np.arange(n, dtype=np.float32) for n in self.size)), axis=-1)
        flat = np.asarray(cv2.perspectiveTransform(grid, from_picture), np.float32)
        height = soft(layers.height, RELIEF_MM / layers.mm_per_px)
        height -= np.float32(np.median(height[layers.ground > 0] if layers.ground.any() else height))
        eye_mm = pose.view.eye * pose.width
        below = (to_canvas(layers) @ np.asarray([*eye_mm[:2], 1.0]))[:2].astype(np.float32)
        self.places = flat
        for _ in range(2):
            off = self.plane(height, cv2.INTER_LINEAR)
            share = np.clip(off, -15, 15)[..., None] * np.float32(1 / eye_mm[2])
            self.places = np.asarray(flat + share * (below - flat), np.float32)

    @property
    def to_mm(self) -> Array:
        """Homography from pixels to mm on the part's plane."""
        return np.asarray(np.linalg.inv(self.pose.from_mm(self.size)))

    def plane(self, plane: NDArray[Any], how: int = cv2.INTER_NEAREST) -> NDArray[Any]:
        """See one of the planes."""
        x, y = self.places[..., 0], self.places[..., 1]
        return np.asarray(cv2.remap(plane, x, y, how, borderMode=cv2.BORDER_REPLICATE))


def photograph(rng: np.random.Generator, seen: Seen, rig: Rig, camera: Camera) -> Picture:
    """Light the planes and take a photo of them, with its truth."""
    layers = seen.layers
    rig = replace(rig, camera=eye(seen.pose, layers))
    linear = np.asarray(seen.plane(_radiance(layers, rig), cv2.INTER_LINEAR), np.float32)
    states, ground = seen.plane(layers.state), seen.plane(np.asarray(layers.ground * 255, np.uint8))
    states[states == BEAD] = State.CANNOT_TELL
    told = (ground > 0) & ~np.isin(states, (State.CANNOT_TELL, State.BACKGROUND))
    middle = Plane(seen.to_mm, 0.0, "stated").mm_per_px((seen.size[0] - 1) / 2, (seen.size[1] - 1) / 2)
    meta = {
        **layers.notes, **rig.notes, "mm_per_px": middle, "to_mm": seen.to_mm.tolist(),
        "tilt_deg": seen.pose.view.tilt, "camera": camera.as_dict(),
        "bright_share": float(np.mean(states[told] == State.BRIGHT)) if told.any() else None,
    }  # fmt: skip
    return Picture(expose(rng, linear, camera), states, ground, meta)


def _radiance(layers: Layers, rig: Rig) -> Field:
    """Linear picture of the planes, in strips and from fewer samples than :func:`prepcheck.synth.shade.radiance`."""
    whole, numbers, lookup = patch_of(layers), numbers_of(rig), SkyLookup(rig)
    picture = np.empty((*layers.shape, 3), np.float32)
    for top in range(0, layers.shape[0], STRIP):
        rows = np.s_[top : top + STRIP]
        picture[rows] = np.stack(shade(np, _rows(whole, rows, 1.0), numbers, lookup, SAMPLES), axis=-1)
    return picture
