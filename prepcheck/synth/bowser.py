"""A wall of our invented diesel bowser, drawn on purpose: coating, seam, ground spots with what is left on them, scale card.

Where :mod:`~prepcheck.synth.scene` draws everything at random to train on, a sample photo has to show one thing. Places
and sizes are millimetres from the middle of the picture, x to the right, y down.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo.card_design import HEIGHT, WIDTH
from prepcheck.photo.card_image import card_image
from prepcheck.synth import residue
from prepcheck.synth.layers import ALUMINIUM, BEAD, Layers, blank
from prepcheck.synth.marks import Marks, Tool, empty, scratch_texture, work
from prepcheck.synth.noise import Field, fractal, ramp, smooth, standard
from prepcheck.synth.part import signed_distance
from prepcheck.synth.scene import outline
from prepcheck.terms import State

Array = NDArray[np.float64]
CREAM, GREEN, BLUE = (0.66, 0.58, 0.40), (0.045, 0.15, 0.07), (0.04, 0.11, 0.30)
YELLOW_PRIMER, GREY_PRIMER = (0.42, 0.38, 0.11), (0.30, 0.31, 0.31)
"""Linear albedo of the bowser's coats, by eye."""

DISCS: dict[str, Tool] = {
    "fibre": Tool((40, 75), (25, 60), (4, 8), (0.14, 0.24), (0.05, 0.11), (0.0, 0.02), 0.7, (0.09, 0.15), (0.24, 0.38)),
    "flap": Tool((150, 500), (30, 80), (6, 12), (0.12, 0.2), (0.04, 0.08), (0.0, 0.01), 0.3, (0.08, 0.14), (0.2, 0.34)),
    "brush": Tool(
        (500, 2000), (25, 70), (5, 12), (0.1, 0.18), (0.03, 0.06), (0.0, 0.0), 0.15, (0.07, 0.12), (0.2, 0.32)
    ),
    "burr": Tool((4, 12), (8, 25), (1.5, 3), (0.15, 0.3), (0.05, 0.12), (0.1, 0.3), 1.2, (0.09, 0.15), (0.2, 0.34)),
    "pad": Tool((4, 9), (8, 24), (4, 9), (0.12, 0.2), (0.03, 0.06), (0.0, 0.0), 3.2, (0.1, 0.16), (0.2, 0.32)),
}
"""Tools as one careful person holds them: finer and steadier than the ranges to train on. Lengths in mm."""


@dataclass(frozen=True)
class Patchwork:
    """Residue of one kind inside a spot: its share of the spot, linear albedo, size in mm, softness of its edge.

    ``thin`` is the share of the metal's gloss and scratches that still shows through (0: thick crust).
    """

    share: float
    tone: tuple[float, float, float] = (0.42, 0.42, 0.40)
    size: float = 14.0
    soft: float = 0.12
    thin: float = 0.1


@dataclass(frozen=True)
class Ground:
    """One ground spot.

    Attributes
    ----------
    at, size : (float, float)
        Middle and full width and height, mm.
    tools : tuple of str
        Names of `DISCS`, the later over part of the earlier.
    seed, marks_seed : int
        Of shape and corrosion; of the tool marks (a new grinding pass has new marks on the same corrosion).
    oxide, coating, rust : Patchwork or None
        What is left.
    pits : int
        Number of pits.
    """

    at: tuple[float, float]
    size: tuple[float, float]
    tools: tuple[str, ...] = ("fibre",)
    seed: int = 1
    marks_seed: int = 1
    oxide: Patchwork | None = None
    coating: Patchwork | None = None
    rust: Patchwork | None = None
    pits: int = 0


@dataclass(frozen=True)
class Laid:
    """The scale card lying on the wall: place of its middle in mm, turn in degrees (clockwise)."""

    at: tuple[float, float]
    turn: float = 0.0

    @property
    def from_card(self) -> Array:
        """Mm on the card to mm on the wall, shape (3, 3)."""
        c, s = np.cos(np.radians(self.turn)), np.sin(np.radians(self.turn))
        turn = np.asarray([[c, -s, self.at[0]], [s, c, self.at[1]], [0, 0, 1]])
        return np.asarray(turn @ np.asarray([[1, 0, -WIDTH / 2], [0, 1, -HEIGHT / 2], [0, 0, 1]]))


@dataclass(frozen=True)
class Wall:
    """A piece of the bowser's wall.

    Attributes
    ----------
    seed : int
        Of everything but the spots.
    size : (float, float)
        Width and height in mm.
    colour, primer : (float, float, float)
        Linear albedo of the topcoat, and of the coat under it.
    spots : tuple of Ground
        Ground spots.
    seam : float or None
        Height (y, mm) of a weld seam across the wall: under its coat, bare (`BEAD`) inside a spot.
    bent : float
        Radius of the shell in mm, about the x axis; 0 is flat.
    card : Laid or None
        The scale card.
    """

    seed: int
    size: tuple[float, float]
    colour: tuple[float, float, float] = CREAM
    primer: tuple[float, float, float] = YELLOW_PRIMER
    spots: tuple[Ground, ...] = ()
    seam: float | None = None
    bent: float = 900.0
    card: Laid | None = None


def make_wall(wall: Wall, mm_per_px: float) -> Layers:
    """Build the layers of `wall`; the middle of the planes is the origin of its millimetres."""
    shape = (round(wall.size[1] / mm_per_px), round(wall.size[0] / mm_per_px))
    layers = blank(shape, mm_per_px)
    rng = np.random.default_rng([wall.seed, 0])
    _coat(rng, layers, np.ones(shape, np.float32), wall.colour, 0.14)
    layers.state[:] = State.COATING
    for spot in wall.spots:
        _grind(layers, spot)
    if wall.spots:
        _feather(np.random.default_rng([wall.seed, 6]), layers, wall)
    if wall.seam is not None:
        _lay_seam(np.random.default_rng([wall.seed, 1]), layers, wall.seam)
    _bend(np.random.default_rng([wall.seed, 2]), layers, wall.bent)
    if wall.card is not None:
        _lay_card(layers, wall.card)
    return layers


def to_canvas(layers: Layers) -> Array:
    """Homography from mm on the wall to pixels of the planes, shape (3, 3)."""
    rows, cols = layers.shape
    scale = 1.0 / layers.mm_per_px
    return np.asarray([[scale, 0, (cols - 1) / 2], [0, scale, (rows - 1) / 2], [0, 0, 1.0]])


def grid(layers: Layers) -> tuple[Field, Field]:
    """Return x and y in mm of every pixel."""
    rows, cols = layers.shape
    ys, xs = np.mgrid[0:rows, 0:cols].astype(np.float32)
    mm = np.float32(layers.mm_per_px)
    return (xs - np.float32((cols - 1) / 2)) * mm, (ys - np.float32((rows - 1) / 2)) * mm


def _coat(
    rng: np.random.Generator, layers: Layers, share: Field, colour: tuple[float, float, float], thickness: float
) -> None:
    """Lay a brushed and weathered coat: orange peel, grime in the hollows, fine scratches."""
    shape, mm = layers.shape, layers.mm_per_px
    peel = fractal(rng, shape, 1.6 / mm, 3, 0.6)
    grime = fractal(rng, shape, 60 / mm, 9, 0.72)
    rub = smooth(rng, shape, (1.2, 25 / mm)) * ramp(fractal(rng, shape, 40 / mm, 3), 0.2, 1.6)
    tone = np.exp(0.05 * grime + 0.015 * peel + 0.04 * rub) * (1 - 0.35 * ramp(grime, 1.2, 3.0))
    specks = ramp(fractal(rng, shape, 2.5 / mm, 3), 2.6, 3.0)
    base = np.clip(tone[..., None] * np.asarray(colour, np.float32), 0.004, 0.9)
    base += specks[..., None] * (0.5 * base - base)
    gloss = np.clip(0.26 + 0.06 * grime, 0.15, 0.6)
    layers.mix(share, base=base, metal=0.0, alpha_u=gloss, alpha_v=gloss, cavity=1.0)
    layers.height += share * (thickness + 0.006 * peel + 0.002 * rub - layers.height)


def _grind(layers: Layers, spot: Ground) -> None:
    """Grind one spot and leave on it what it says."""
    rng = np.random.default_rng([spot.seed, 3])
    area = _blob(rng, layers, spot)
    marks = _tool_marks(layers, spot, area)
    ground = outline(marks.cover, area)
    inside = ground > 0
    _bare_metal(np.random.default_rng([spot.marks_seed, 4]), layers, marks, inside)
    fine = fractal(rng, layers.shape, 1.2 / layers.mm_per_px, 4, 0.8)
    for number, (left, state) in enumerate(
        ((spot.oxide, State.OXIDE), (spot.coating, State.COATING), (spot.rust, State.FOREIGN))
    ):
        if left is not None:
            own = np.random.default_rng([spot.seed, 10 + number])
            _leave(own, layers, marks, inside, left, state, fine)
    _sink_pits(np.random.default_rng([spot.seed, 5]), layers, inside, spot.pits)
    layers.ground[inside] = 1


def _blob(rng: np.random.Generator, layers: Layers, spot: Ground) -> NDArray[np.uint8]:
    """The area a person means to grind: a wobbly oval; uint8, 0 or 1."""
    x, y = grid(layers)
    turn = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    wobble = np.sum([rng.normal(0, 0.09 / k) * np.cos(k * turn + rng.uniform(0, 6)) for k in range(2, 8)], axis=0)
    ring = 0.5 * np.asarray(spot.size) * (1 + wobble)[:, None] * np.stack([np.cos(turn), np.sin(turn)], 1)
    ring = (ring + spot.at - (x[0, 0], y[0, 0])) / layers.mm_per_px
    mask = np.zeros(layers.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(ring).astype(np.int32)], 1)
    return mask


def _tool_marks(layers: Layers, spot: Ground, area: NDArray[np.uint8]) -> Marks:
    """First strokes all one way over the whole area, then those of each tool."""
    rng = np.random.default_rng([spot.marks_seed, 7])
    marks = empty(layers.shape)
    _first_strokes(rng, marks, area, layers)
    for number, name in enumerate(spot.tools):
        part = fractal(rng, layers.shape, 45 / layers.mm_per_px, 2) > 0.1
        work(rng, marks, area if number == 0 else np.asarray(area * part, np.uint8), layers.mm_per_px, DISCS[name])
    return marks


def _first_strokes(rng: np.random.Generator, marks: Marks, area: NDArray[np.uint8], layers: Layers) -> None:
    x, y = grid(layers)
    angle, pitch = rng.uniform(0, np.pi), 0.13
    along, across = x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)
    across = across + np.square(along) / 400 + 0.4 * fractal(rng, layers.shape, 12 / layers.mm_per_px, 2)
    place = np.asarray(across / pitch, np.float32), np.asarray(along + 64, np.float32)
    scratch = cv2.remap(scratch_texture(rng), *place, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    marks.height += area * np.asarray(scratch * 0.07 * pitch, np.float32)
    marks.theta += np.asarray(angle - along / 200, np.float32)
    marks.cover[:] = area


def _bare_metal(rng: np.random.Generator, layers: Layers, marks: Marks, inside: NDArray[np.bool_]) -> None:
    """Show ground aluminium inside: anisotropic, slightly mottled."""
    mm = layers.mm_per_px
    share = inside.astype(np.float32)
    tone = np.exp(0.03 * fractal(rng, layers.shape, 30 / mm, 4)) * 0.92
    base = np.clip(tone[..., None] * np.asarray(ALUMINIUM, np.float32), 0, 0.95)
    rough = np.exp(0.12 * fractal(rng, layers.shape, 20 / mm, 3))
    layers.mix(share, base=base, metal=0.97, height=marks.height, cavity=1.0)
    layers.mix(
        share, alpha_u=np.clip(marks.alpha_u * rough, 0.08, 0.6), alpha_v=np.clip(marks.alpha_v * rough, 0.14, 0.7)
    )
    layers.theta[inside] = marks.theta[inside]
    layers.state[inside] = State.BRIGHT


def _leave(
    rng: np.random.Generator, layers: Layers, marks: Marks, inside: NDArray[np.bool_], left: Patchwork, state: State,
    fine: Field,
) -> None:  # fmt: skip
    """Leave residue in the hollows of the last corrosion; the same seed with a smaller share leaves the deepest of it."""
    shape, mm = layers.shape, layers.mm_per_px
    depth = fractal(rng, shape, left.size / mm, 6, 0.6)
    peaks = standard(marks.height - _soft(marks.height, max(1.0 / mm, 3.0)))
    field = depth - 0.12 * marks.bite - 0.12 * peaks + 0.12 * fine
    cut = float(np.quantile(field[inside], 1.0 - left.share))
    cover = np.asarray(ramp(field, cut - left.soft, cut + left.soft) * inside, np.float32)
    clouds = fractal(rng, shape, 0.6 * left.size / mm, 5, 0.6)
    mottle = np.exp(0.10 * clouds + 0.08 * fine)
    base = np.clip(mottle[..., None] * np.asarray(left.tone, np.float32), 0.01, 0.9)
    opaque = np.asarray(cover * (1 - left.thin), np.float32)
    layers.mix(opaque, base=base, metal=0.03, alpha_u=0.6, alpha_v=0.6)
    buried = _soft(layers.height, max(1.2 / mm, 2.0))
    powder = fractal(rng, shape, max(0.5 / mm, 2.0), 3, 0.8)
    layers.height += opaque * (buried + 0.012 * powder + 0.05 * ramp(clouds, -1, 2) - layers.height)
    layers.state[(cover >= 0.5) & inside] = state


def _sink_pits(rng: np.random.Generator, layers: Layers, inside: NDArray[np.bool_], count: int) -> None:
    """Sink pits of about 0.6 to 4 mm across, in clusters, dark inside."""
    if not count:
        return
    mm = layers.mm_per_px
    mask = np.zeros(layers.shape, np.float32)
    ys, xs = np.nonzero(inside[::3, ::3])
    hearts = rng.integers(len(ys), size=4)
    for _ in range(count):
        heart = hearts[rng.integers(4)]
        place = np.asarray([3 * xs[heart], 3 * ys[heart]]) + rng.normal(0, 7 / mm, 2)
        radius = 0.45 * np.exp(rng.normal(0.35, 0.55)) / mm
        residue._pit(rng, mask, (float(place[0]), float(place[1])), max(float(radius), 1.2))
    hole = np.asarray(ramp(_soft(mask, 0.8), 0.35, 0.65) * inside, np.float32)
    rim = _soft(mask, max(0.45 / mm, 1.5))
    layers.height -= rim * 0.35
    dirt = fractal(rng, layers.shape, 1.0 / mm, 2)
    tone = np.exp(0.3 * dirt)[..., None] * np.asarray((0.10, 0.095, 0.085), np.float32)
    layers.mix(hole, base=tone, metal=0.05, alpha_u=0.6, alpha_v=0.6)
    layers.cavity *= 1.0 - 0.7 * hole
    layers.state[(hole >= 0.5) & inside] = State.PIT


def _feather(rng: np.random.Generator, layers: Layers, wall: Wall) -> None:
    """Put the coats back around the spots: primer shows as a rim, the topcoat steps back from it."""
    mm, ground = layers.mm_per_px, layers.ground.copy()
    distance = signed_distance(ground)
    ragged = fractal(rng, layers.shape, 9 / mm, 5, 0.6)
    worn = ramp(fractal(rng, layers.shape, 25 / mm, 2), -1.0, 1.5)
    state = layers.state.copy()
    under = 1.0 - ramp(distance + 0.25 / mm * ragged, -0.4 / mm, 0.5 / mm)
    _coat(rng, layers, np.asarray(under, np.float32), wall.primer, 0.06)
    back = np.asarray((0.5 + 2.2 * worn + 0.7 * ragged) / mm, np.float32)
    top = (1.0 - ramp(np.asarray(distance + back, np.float32), -0.25 / mm, 0.25 / mm)) * (ground == 0)
    _coat(np.random.default_rng([wall.seed, 0]), layers, np.asarray(top, np.float32), wall.colour, 0.14)
    layers.state[:] = state
    rim = (under >= 0.5) & (ground > 0)
    layers.state[rim], layers.ground[rim] = State.COATING, 0


def _lay_seam(rng: np.random.Generator, layers: Layers, seam: float) -> None:
    """Lay a weld bead along x at y `seam`."""
    mm, half = layers.mm_per_px, 4.5
    x, y = grid(layers)
    v = y - np.float32(seam) + np.float32(0.35) * fractal(rng, layers.shape, 40 / mm, 3)
    across = np.clip(1 - np.square(v / half), 0, 1)
    phase = (x + 0.8 * half * np.sqrt(across)) * (2 * np.pi / 2.4) + 1.2 * fractal(rng, layers.shape, 30 / mm, 2)
    ripple = np.sin(phase) * (0.7 + 0.3 * fractal(rng, layers.shape, 8 / mm, 2))
    on = ramp(np.asarray(1 - np.abs(v) / half, np.float32), 0.0, 0.12)
    bare = (layers.ground > 0) & (on >= 0.5)
    layers.height += on * (1.3 * across + 0.07 * ripple * np.sqrt(across))
    dirt = np.exp(-np.square((np.abs(v) - half) / 0.8)) * (layers.ground == 0)
    layers.base *= (1 - 0.45 * dirt)[..., None]
    layers.mix(np.asarray(on * (layers.ground > 0), np.float32), base=0.75, metal=0.9, alpha_u=0.22, alpha_v=0.22)
    layers.state[bare] = BEAD


def _bend(rng: np.random.Generator, layers: Layers, radius: float) -> None:
    """Bend the shell about the x axis and let the sheet wave a little."""
    if radius:
        layers.bend_y -= np.clip(grid(layers)[1] / np.float32(radius), -0.5, 0.5)
    layers.height += 0.12 * fractal(rng, layers.shape, 90 / layers.mm_per_px, 2)


def _lay_card(layers: Layers, card: Laid) -> None:
    """Lay the printed card flat on the wall: matt paper, its print as albedo, a thin shadow around it."""
    fine = 16.0
    levels = card_image(fine).astype(np.float32) / 255
    linear = np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4)
    albedo = np.asarray(0.025 + 0.80 * linear, np.float32)
    to_mm = np.asarray([[1 / fine, 0, 0.5 / fine], [0, 1 / fine, 0.5 / fine], [0, 0, 1]])
    whole = to_canvas(layers) @ card.from_card @ to_mm
    zoom = 3
    finer = np.asarray([[zoom, 0, (zoom - 1) / 2], [0, zoom, (zoom - 1) / 2], [0, 0, 1]]) @ whole
    print_, paper = (_averaged(plane, finer, layers.shape, zoom) for plane in (albedo, np.ones_like(albedo)))
    under = _soft(paper, 1.2 / layers.mm_per_px)
    layers.cavity *= np.asarray(1 - 0.45 * under * (1 - paper), np.float32)
    base = (print_ / np.maximum(paper, 1e-3))[..., None] * np.asarray((1.0, 0.995, 0.975), np.float32)
    layers.mix(paper, base=base, metal=0.0, alpha_u=0.55, alpha_v=0.55, cavity=1.0, height=0.3, bend_x=0.0, bend_y=0.0)
    layers.state[paper >= 0.5] = State.BACKGROUND
    layers.ground[paper >= 0.5] = 0


def _averaged(plane: Field, to_fine: Array, shape: tuple[int, int], zoom: int) -> Field:
    """Warp onto a grid `zoom` times finer than the planes and average."""
    drawn = cv2.warpPerspective(plane, to_fine, (shape[1] * zoom, shape[0] * zoom), flags=cv2.INTER_LINEAR)
    return np.asarray(cv2.resize(drawn, shape[::-1], interpolation=cv2.INTER_AREA), np.float32)


def _soft(plane: Field, sigma: float) -> Field:
    return np.asarray(cv2.GaussianBlur(plane, (0, 0), sigma), np.float32)
