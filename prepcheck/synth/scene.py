"""From a seed to the layers of a surface: the part, its spots, what is left on them."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth import cover, part, residue
from prepcheck.synth.layers import ALUMINIUM, BEAD, STEEL, Layers, blank
from prepcheck.synth.marks import TOOLS, Marks, empty, work
from prepcheck.synth.noise import Field, fractal, log_uniform, ramp
from prepcheck.terms import State


@dataclass(frozen=True)
class Recipe:
    """What a scene shows, drawn before any pixel.

    Attributes
    ----------
    kind : str
        ``spots`` (a part with ground spots), ``unworked`` (a part without any) or ``clutter`` (no part at all).
    mm_per_px : float
        Millimetres per pixel.
    tools : tuple of str
        Tools used one after the other, names of :data:`prepcheck.synth.marks.TOOLS`.
    spots : int
        Number of ground spots asked for.
    skin : bool
        Bare weathered metal around the spots instead of paint.
    steel : bool
        Steel instead of aluminium.
    bead, holes, edges : bool
        Weld bead, through-holes, part edges in view.
    """

    kind: str
    mm_per_px: float
    tools: tuple[str, ...]
    spots: int
    skin: bool
    steel: bool
    bead: bool
    holes: bool
    edges: bool

    def as_dict(self) -> dict[str, object]:
        """Plain values, for a scene's meta file."""
        return asdict(self)


def sample_recipe(rng: np.random.Generator) -> Recipe:
    """Draw what a scene shows."""
    kind = ("spots", "unworked", "clutter")[rng.choice(3, p=[0.88, 0.08, 0.04])]
    names = list(TOOLS)
    weights = np.asarray([0.2, 0.18, 0.17, 0.17, 0.14, 0.08, 0.06])
    tools = tuple(str(t) for t in rng.choice(names, size=1 if rng.random() < 0.65 else 2, p=weights, replace=False))
    spots = int(rng.choice([1, 2, 3], p=[0.72, 0.2, 0.08]))
    mm = log_uniform(rng, 0.05, 0.6) if rng.random() < 0.35 else log_uniform(rng, 0.1, 0.35)
    skin, steel, bead, holes, edges = (bool(rng.random() < p) for p in (0.22, 0.1, 0.12, 0.12, 0.45))
    return Recipe(kind, mm, tools, spots, skin, steel, bead, holes, edges)


def spot_mask(rng: np.random.Generator, shape: tuple[int, int], count: int) -> NDArray[np.uint8]:
    """Draw `count` blobs (each a union of one to four) where a person would grind; uint8, shape (H, W), 0 or 1."""
    mask = np.zeros(shape, np.uint8)
    reach = 0.5 * min(shape) * (log_uniform(rng, 0.38, 1.25) if count == 1 else log_uniform(rng, 0.18, 0.5))
    for _ in range(count):
        centre = rng.uniform(0.12, 0.88, 2) * shape[::-1] if count > 1 else rng.normal(0.5, 0.13, 2) * shape[::-1]
        for _ in range(rng.integers(1, 5)):
            off = rng.normal(0, 0.55 * reach, 2)
            turn = np.linspace(0, 2 * np.pi, 64, endpoint=False)
            wobble = sum(rng.normal(0, 0.22 / k) * np.cos(k * turn + rng.uniform(0, 6)) for k in range(2, 7))
            radius = reach * rng.uniform(0.4, 1.0) * (1 + wobble)
            stretch, tilt = log_uniform(rng, 0.5, 1.0), rng.uniform(0, np.pi)
            x, y = radius * np.cos(turn), radius * stretch * np.sin(turn)
            ring = (
                np.stack([x * np.cos(tilt) - y * np.sin(tilt), x * np.sin(tilt) + y * np.cos(tilt)], 1) + centre + off
            )
            cv2.fillPoly(mask, [np.round(ring).astype(np.int32)], 1)
    if rng.random() < 0.7:
        ragged = fractal(rng, shape, log_uniform(rng, 8, 60), 5, rng.uniform(0.4, 0.8)) * rng.uniform(1, 9)
        mask = np.asarray(part.signed_distance(mask) + ragged > 0, np.uint8)
    return mask


def make_surface(seed: int, shape: tuple[int, int] = (768, 1024), recipe: Recipe | None = None) -> Layers:
    """Build the layers of one scene.

    Parameters
    ----------
    seed : int
        The same seed, shape and recipe give the same layers.
    shape : (int, int)
        Rows and columns.
    recipe : Recipe or None
        What to show; drawn from the seed when None.

    Returns
    -------
    Layers
        Planes of shape `shape` with the truth in ``state`` and ``ground``; ``notes`` holds recipe and shares.
    """
    rng = np.random.default_rng(seed)
    drawn = sample_recipe(rng)
    recipe = recipe or drawn
    layers, back = blank(shape, recipe.mm_per_px), blank(shape, recipe.mm_per_px)
    part.clutter(rng, back, 1.0 if recipe.edges or recipe.kind == "clutter" else 0.2)
    if recipe.kind == "clutter":
        back.notes = {"recipe": recipe.as_dict(), "seed": seed, "bright_share": None}
        return back
    _build_part(rng, layers, back, recipe)
    layers.notes = {"recipe": recipe.as_dict(), "seed": seed, "bright_share": bright_share(layers)}
    return layers


def _build_part(rng: np.random.Generator, layers: Layers, back: Layers, recipe: Recipe) -> None:
    """Put the part in front of `back`."""
    whole = np.ones(layers.shape, np.float32)
    if recipe.skin:
        cover.lay_skin(rng, layers, whole)
    else:
        cover.lay_paint(rng, layers, whole, cover.paint_colour(rng)[1])
    if recipe.kind == "spots":
        _grind(rng, layers, recipe)
    elif rng.random() < 0.4:
        ragged = residue._blobs(rng, layers, (5, 40), (0.05, 0.5))
        cover.lay_paint(rng, layers, ragged, cover.paint_colour(rng)[1])
    part.bend_wall(rng, layers)
    on = np.ones(layers.shape, bool)
    if recipe.bead:
        residue.lay_bead(rng, layers, on)
    if recipe.edges:
        part.cut_out(rng, layers, part.part_outline(rng, layers.shape), back)
    if recipe.holes:
        part.drill(rng, layers, back)
    _dust(rng, layers)


def _grind(rng: np.random.Generator, layers: Layers, recipe: Recipe) -> None:
    """Grind the spots: metal with marks, what the tool left, feathered coating at the edge."""
    marks = empty(layers.shape)
    area = spot_mask(rng, layers.shape, recipe.spots)
    for name in recipe.tools:
        patch = area if name == recipe.tools[0] else area * np.asarray(fractal(rng, layers.shape, 200, 2) > 0, np.uint8)
        work(rng, marks, np.asarray(patch, np.uint8), layers.mm_per_px, TOOLS[name])
    ground = outline(marks.cover, area)
    distance = part.signed_distance(ground)
    inside = ground > 0
    _bare_metal(rng, layers, marks, inside, recipe.steel)
    residue.lay_oxide(rng, layers, marks, inside)
    residue.lay_pits(rng, layers, inside)
    residue.lay_foreign(rng, layers, inside)
    _rest_of_coating(rng, layers, ground, distance, marks, recipe)
    layers.ground[:] = ground


def outline(cover_share: Field, area: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Outline of what was worked: strokes and area together, small gaps closed, holes filled; uint8, 0 or 1."""
    worked = ((cover_share > 0.5) | (area > 0)).astype(np.uint8)
    worked = np.asarray(cv2.morphologyEx(worked, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8)
    rings, _ = cv2.findContours(worked, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    kept = [ring for ring in rings if cv2.contourArea(ring) > 60]
    return np.asarray(cv2.drawContours(np.zeros_like(worked), kept, -1, 1, -1), np.uint8)


def _bare_metal(rng: np.random.Generator, layers: Layers, marks: Marks, inside: NDArray[np.bool_], steel: bool) -> None:
    """Show ground metal inside: anisotropic, a little mottled, because brightness alone must not tell."""
    share = inside.astype(np.float32)
    mottle = fractal(rng, layers.shape, log_uniform(rng, 5, 60) / layers.mm_per_px, 4)
    tone = np.exp(rng.uniform(0, 0.09) * mottle) * rng.uniform(0.6, 1.0)
    base = np.clip(tone[..., None] * np.asarray(STEEL if steel else ALUMINIUM) * (1 + rng.normal(0, 0.012, 3)), 0, 0.95)
    rough = np.exp(rng.uniform(0, 0.25) * fractal(rng, layers.shape, 20 / layers.mm_per_px, 3))
    layers.mix(share, base=base, metal=rng.uniform(0.86, 1.0), alpha_u=np.clip(marks.alpha_u * rough, 0.04, 0.7))
    layers.mix(share, alpha_v=np.clip(marks.alpha_v * rough, 0.06, 0.8), height=marks.height)
    layers.theta[inside] = marks.theta[inside]
    layers.state[inside] = State.BRIGHT


def _rest_of_coating(
    rng: np.random.Generator, layers: Layers, ground: NDArray[np.uint8], distance: Field, marks: Marks, recipe: Recipe
) -> None:
    """Put the coating back outside and where the tool left it, topcoat over primer."""
    left = cover.left_over(rng, ground, distance, layers.mm_per_px, marks.bite)
    keep = layers.state.copy()
    if recipe.skin:
        cover.lay_skin(rng, layers, left)
    else:
        if rng.random() < 0.45:
            cover.lay_paint(rng, layers, left, cover.paint_colour(rng)[1])
            step = max(log_uniform(rng, 0.3, 2.5) / layers.mm_per_px, 1.0)
            back_off = ramp(-distance + step * fractal(rng, layers.shape, 8 / layers.mm_per_px, 4), step, 1.6 * step)
            left = np.asarray(left * back_off, np.float32)
        cover.lay_paint(rng, layers, left, cover.paint_colour(rng)[1])
    if recipe.skin and rng.random() < 0.6:
        outside = ground == 0
        residue.lay_oxide(rng, layers, marks, outside)
        layers.state[outside] = State.COATING
    layers.state[(left < 0.5) & (ground > 0) & (keep == State.PIT)] = State.PIT


def _dust(rng: np.random.Generator, layers: Layers) -> None:
    """Sprinkle a thin film of grinding dust, too thin to be residue."""
    if rng.random() < 0.4:
        film = np.clip(fractal(rng, layers.shape, 200, 6, 0.7), 0, 2) * rng.uniform(0, 0.05)
        layers.mix(np.asarray(film, np.float32), base=0.35, metal=0.1)


def bright_share(layers: Layers) -> float | None:
    """Share of the readable ground area (bead and tint left out) that is bright metal; None without a spot."""
    told = (layers.ground > 0) & (layers.state != BEAD) & (layers.state != State.BACKGROUND)
    return float(np.mean(layers.state[told] == State.BRIGHT)) if told.any() else None
