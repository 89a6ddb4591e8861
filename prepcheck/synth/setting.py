"""Where camera, lamps and photographer stand in a rendered scene. Lengths in millimetres, origin in the middle.

The surface lies about z = 0; x to the right, y down, z towards the camera.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.layers import Layers
from prepcheck.synth.light import colour_of
from prepcheck.synth.noise import Field, log_uniform
from prepcheck.synth.surroundings import sample_surroundings

Vector = NDArray[np.float64]

MARGIN = 0.16
"""How far the mirrored surface goes on beyond the layers, as a share of their size."""

LAMPS, TORCHES = 4, 1
"""Most panels of the second and of the third light."""

SIDE_REACH = 3.0
"""Pixels from the side of a step to where its material is looked up, on top."""


@dataclass(frozen=True)
class View:
    """A phone's view of the surface.

    Attributes
    ----------
    eye, ahead, right, down : ndarray of float64, shape (3,)
        Place of the lens (mm) and unit vectors.
    half : float
        Tangent of half the horizontal field of view.
    lens, focus : float
        Radius of the aperture and distance of sharp focus, mm.
    """

    eye: Vector
    ahead: Vector
    right: Vector
    down: Vector
    half: float
    lens: float = 0.0
    focus: float = 300.0

    def mm_per_px(self, cols: int) -> float:
        """Millimetres of the surface per pixel, across the line of sight in the middle of a picture `cols` wide."""
        return 2 * self.half * float(np.linalg.norm(self.eye)) / cols


@dataclass(frozen=True)
class Panel:
    """A flat light: middle, half sides (mm), radiance, and how sharp its beam is (0: like paper)."""

    centre: Vector
    half_a: Vector
    half_b: Vector
    radiance: Vector
    beam: float = 0.0


@dataclass(frozen=True)
class Blocker:
    """A dark thing near the camera that hides light and reflects in the metal: middle, half sides, radiance."""

    centre: Vector
    half_a: Vector
    half_b: Vector
    radiance: Vector


@dataclass(frozen=True)
class Setting:
    """Everything but the surface: view, surroundings, the lamp's and the torch's panels, blockers, notes."""

    view: View
    sky: Field
    lamp: tuple[Panel, ...]
    torch: tuple[Panel, ...]
    blockers: tuple[Blocker, ...]
    notes: dict[str, object]


def unit(vector: Vector) -> Vector:
    """`vector` at length one."""
    return np.asarray(vector / np.linalg.norm(vector))


def look(direction: Vector, distance: float, half: float, roll: float = 0.0, lens: float = 0.0) -> View:
    """View of the middle of the surface from `direction`, `distance` mm away, rolled by `roll` radians."""
    ahead = -unit(direction)
    flat = np.asarray([np.cos(roll), np.sin(roll), 0.0])
    right = unit(flat - ahead * (flat @ ahead))
    return View(-ahead * distance, ahead, right, np.cross(ahead, right), half, lens, distance)


def sample_view(rng: np.random.Generator, shape: tuple[int, int], mm_per_px: float) -> tuple[View, dict[str, object]]:
    """Draw a phone's view: mostly within 25 degrees of straight on, 15 to 120 cm away, the frame filled."""
    tilt = min(abs(rng.normal(0, 14)) if rng.random() < 0.85 else rng.uniform(15, 40), 42.0)
    turn, wide = rng.uniform(0, 2 * np.pi), shape[1] * mm_per_px
    near, far = max(150.0, 0.5 * wide / np.tan(np.radians(37))), max(1200.0, 1.2 * wide)
    distance = float(np.clip(log_uniform(rng, near, far), near, min(far, 4.5 * wide + 150)))
    s = np.sin(np.radians(tilt))
    direction = np.asarray([s * np.cos(turn), s * np.sin(turn), np.cos(np.radians(tilt))])
    roll = float(rng.normal(0, 0.06))
    lens = rng.uniform(0.3, 1.3) if rng.random() < 0.6 else 0.0
    view = look(direction, distance, 0.5 * wide / distance, roll, lens)
    view = _fill_frame(view, shape, mm_per_px)
    notes: dict[str, object] = {
        "tilt_deg": round(float(tilt), 2),
        "distance_mm": round(distance, 1),
        "half_tangent": round(view.half, 4),
    }
    return view, notes


def _fill_frame(view: View, shape: tuple[int, int], mm_per_px: float) -> View:
    """Zoom in until the picture's corners lie on the surface, mirrored margin included."""
    rows, cols = shape
    reach = np.asarray([cols, rows]) * mm_per_px * (0.5 + 0.3 * MARGIN)
    half = view.half
    for _ in range(40):
        corners = [view.ahead + half * (a * view.right + b * rows / cols * view.down) for a in (-1, 1) for b in (-1, 1)]
        ends = [view.eye - d * (view.eye[2] / min(d[2], -1e-3)) for d in corners]
        if max(float(np.max(np.abs(e[:2]) / reach)) for e in ends) < 1:
            break
        half *= 0.96
    return View(view.eye, view.ahead, view.right, view.down, half, view.lens, view.focus)


def level(panels: tuple[Panel, ...]) -> float:
    """Radiance of a white matt patch in the middle of the surface under `panels`, mean of the colours."""
    total = 0.0
    axis = (np.arange(6) + 0.5) / 3 - 1
    for p in panels:
        normal = np.cross(p.half_a, p.half_b)
        size = 4 * float(np.linalg.norm(normal))
        at = p.centre + axis[:, None, None] * p.half_a + axis[None, :, None] * p.half_b
        distance = np.linalg.norm(at, axis=-1)
        leaving = np.clip(-(at / distance[..., None]) @ unit(normal), 0, 1)
        beam = np.where(leaving > 0, 0.97 * leaving**p.beam + 0.03, 0)
        arriving = np.clip(at[..., 2] / distance, 0, 1)
        total += float(np.mean(beam * leaving * arriving / distance**2)) * size / np.pi * float(p.radiance.mean())
    return total


def scaled(panels: tuple[Panel, ...]) -> tuple[Panel, ...]:
    """`panels` at a radiance that gives :func:`level` one (a light that barely grazes the surface stays weaker)."""
    factor = 1.0 / max(level(panels), 1e-9)
    return tuple(Panel(p.centre, p.half_a, p.half_b, p.radiance * factor, p.beam) for p in panels)


def panel(
    rng: np.random.Generator, centre: Vector, size: tuple[float, float], aim: Vector, colour: Vector, beam: float = 0.0
) -> Panel:
    """A panel of `size` (mm) at `centre`, facing `aim`, turned at random about its axis."""
    normal = unit(aim - centre)
    a = unit(np.cross(normal, rng.normal(0, 1, 3)))
    b = np.cross(normal, a)
    return Panel(centre, a * size[0] / 2, b * size[1] / 2, colour, beam)


def _towards(rng: np.random.Generator, view: View, lowest: float, mirror: float) -> Vector:
    """Direction of a light: with chance `mirror` about where it reflects into the camera, else anywhere above."""
    if rng.random() < mirror:
        out = np.asarray([*view.ahead[:2], -view.ahead[2]]) + rng.normal(0, 0.22, 3)
        return unit(np.asarray([out[0], out[1], max(out[2], 0.15)]))
    z, turn = rng.uniform(lowest, 1.0), rng.uniform(0, 2 * np.pi)
    s = np.sqrt(1 - z * z)
    return np.asarray([s * np.cos(turn), s * np.sin(turn), z])


def _lamp(rng: np.random.Generator, view: View) -> tuple[str, tuple[Panel, ...]]:
    """Draw the second light: tubes, an open door, a window, or a work lamp."""
    kind = str(rng.choice(["tubes", "door", "window", "lamp"], p=[0.34, 0.3, 0.14, 0.22]))
    direction = _towards(rng, view, 0.12, 0.35)
    distance = log_uniform(
        rng, *{"tubes": (900, 3500), "door": (1500, 6000), "window": (900, 4000), "lamp": (350, 2000)}[kind]
    )
    centre, origin = direction * distance, np.zeros(3)
    colour = colour_of(rng, 0.2)
    if kind == "tubes":
        first = panel(rng, centre, (rng.uniform(600, 1500), rng.uniform(26, 120)), origin, colour)
        apart = unit(first.half_b) * log_uniform(rng, 250, 1500)
        count = int(rng.integers(1, 5))
        return kind, tuple(
            Panel(centre + apart * (k - (count - 1) / 2), first.half_a, first.half_b, colour) for k in range(count)
        )
    if kind == "window":
        first = panel(rng, centre, (rng.uniform(300, 600), rng.uniform(400, 900)), origin, colour)
        return kind, tuple(
            Panel(centre + 1.08 * (i * first.half_a + j * first.half_b), first.half_a, first.half_b, colour)
            for i in (-1, 1) for j in (-1, 1)
        )  # fmt: skip
    size = (rng.uniform(1200, 4000), rng.uniform(1800, 3000)) if kind == "door" else tuple(rng.uniform(60, 350, 2))
    return kind, (panel(rng, centre, (float(size[0]), float(size[1])), origin, colour),)


def _torch(rng: np.random.Generator, view: View, wide: float) -> tuple[str, tuple[Panel, ...]]:
    """Draw the third light: a torch held anywhere, the phone's flash, or the sun."""
    kind = str(rng.choice(["torch", "flash", "sun"], p=[0.6, 0.28, 0.12]))
    colour = colour_of(rng, {"torch": 0.18, "flash": 0.06, "sun": 0.12}[kind])
    if kind == "flash":
        centre = view.eye + view.right * rng.uniform(-14, 14) + view.down * rng.uniform(-14, 14) + view.ahead
        size = rng.uniform(3, 7)
        return kind, (panel(rng, centre, (size, size), centre + view.ahead, colour, rng.uniform(0.5, 2.5)),)
    direction = _towards(rng, view, 0.1, 0.2)
    if kind == "sun":
        return kind, (panel(rng, direction * 2e4, (186.0, 186.0), np.zeros(3), colour),)
    distance = max(log_uniform(rng, 120, 900), 0.45 * wide)
    size = log_uniform(rng, 8, 60)
    aim = np.asarray([*rng.normal(0, 0.18 * wide, 2), 0.0])
    return kind, (panel(rng, direction * distance, (size, size), aim, colour, log_uniform(rng, 1.5, 60)),)


def _blockers(rng: np.random.Generator, view: View) -> tuple[Blocker, ...]:
    """The phone round the lens, and the photographer behind it."""
    tone = np.full(3, log_uniform(rng, 0.01, 0.15))
    lean = rng.uniform(-0.8, 0.8)
    a, b = view.right * np.cos(lean) + view.down * np.sin(lean), view.down * np.cos(lean) - view.right * np.sin(lean)
    phone = Blocker(
        view.eye - 3 * view.ahead + 25 * b + rng.normal(0, 12) * a,
        a * rng.uniform(34, 60),
        b * rng.uniform(65, 110),
        tone,
    )
    clothes = log_uniform(rng, 0.02, 0.35) * rng.uniform(0.5, 1.0, 3)
    back, aside, below = rng.uniform(150, 500), rng.normal(0, 120), rng.uniform(50, 420)
    body = Blocker(
        view.eye - back * view.ahead + aside * view.right + below * view.down,
        view.right * rng.uniform(150, 260), view.down * rng.uniform(280, 600), clothes,
    )  # fmt: skip
    return phone, body


def hidden(panels: tuple[Panel, ...], blockers: tuple[Blocker, ...]) -> bool:
    """True when something stands between the first panel's middle and the middle of the surface."""
    to = panels[0].centre
    for b in blockers:
        normal = np.cross(b.half_a, b.half_b)
        share = (b.centre @ normal) / (to @ normal)
        off = share * to - b.centre
        x, y = (off @ h / (h @ h) for h in (b.half_a, b.half_b))
        if 0 < share < 1 and x**4 + y**4 < 1:
            return True
    return False


def sample_setting(rng: np.random.Generator, layers: Layers) -> Setting:
    """Draw view and lights for `layers`; lamp and torch are put where the photographer does not hide them."""
    view, notes = sample_view(rng, layers.shape, layers.mm_per_px)
    name, sky = sample_surroundings(rng)
    blockers = _blockers(rng, view)
    wide = layers.shape[1] * layers.mm_per_px
    for _ in range(8):
        lamp_kind, lamp = _lamp(rng, view)
        if not hidden(lamp, blockers):
            break
    for _ in range(8):
        torch_kind, torch = _torch(rng, view, wide)
        if not hidden(torch, blockers):
            break
    kinds = {"surroundings": name, "lamp": lamp_kind, "torch": torch_kind}
    return Setting(view, sky, scaled(lamp), scaled(torch), blockers, {**notes, "lights": kinds})


def numbers_of(setting: Setting, shape: tuple[int, int], mm_per_px: float) -> Field:
    """The setting as rows of three numbers, in the order that :mod:`prepcheck.synth.tracer` reads."""
    v = setting.view
    wide, high = shape[1] * mm_per_px, shape[0] * mm_per_px
    rows: list[Any] = [
        v.eye,
        v.ahead,
        v.right * v.half,
        v.down * v.half,
        (v.lens, v.focus, 0),
        (1 / wide, 1 / high, SIDE_REACH * mm_per_px),
    ]
    hidden = Blocker(np.asarray([0, 0, -1e6]), np.asarray([1e-3, 0, 0]), np.asarray([0, 1e-3, 0]), np.zeros(3))
    for b in (*setting.blockers, hidden, hidden)[:2]:
        rows += [b.centre, b.half_a, b.half_b, b.radiance]
    away = Panel(np.asarray([0, 0, 1e6]), np.asarray([0.01, 0, 0]), np.asarray([0, 0.01, 0]), np.zeros(3))
    for panels, most in ((setting.lamp, LAMPS), (setting.torch, TORCHES)):
        count = max(len(panels), 1)
        for p in (*panels, *[away] * most)[:most]:
            rows += [p.centre, p.half_a, p.half_b, p.radiance, (p.beam, 1.0 / count, count)]
    return np.asarray(rows, np.float32)


def sample_mix(rng: np.random.Generator) -> Field:
    """Draw how bright and how coloured each light of a render is; float32, shape (3, 3), light by colour.

    The sum over lights of ``mix[light, colour] * light[light, colour]`` is a picture before exposure.
    """
    rest, lamp, torch = log_uniform(rng, 0.3, 1.0), log_uniform(rng, 0.3, 3.0), log_uniform(rng, 0.3, 3.0)
    on = ((1, 0, 0), (1, 1, 0), (0, 1, 0), (1, 0, 1), (0, 0, 1), (1, 1, 1))[
        rng.choice(6, p=[0.2, 0.28, 0.07, 0.25, 0.05, 0.15])
    ]
    dark = (log_uniform(rng, 0.02, 0.1), 0.0, 0.0)
    power = [p if k else d for p, k, d in zip((rest, lamp, torch), on, dark, strict=True)]
    return np.asarray([p * colour_of(rng, 0.08) for p in power], np.float32)
