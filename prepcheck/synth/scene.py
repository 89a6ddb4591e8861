"""From a seed to the layers of a surface: the part, its spots, what is left on them, and what lies around."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from prepcheck.synth import backdrop, bead, cover, foreign, form, oxide, part, skins, strokes, things
from prepcheck.synth.grinding import grind
from prepcheck.synth.layers import BEAD, TONES, Layers, blank
from prepcheck.synth.noise import Field
from prepcheck.synth.recipe import KINDS, Recipe, sample_recipe
from prepcheck.synth.spots import outline
from prepcheck.terms import State


def make_surface(
    seed: int,
    shape: tuple[int, int] = (768, 1024),
    recipe: Recipe | None = None,
    backdrops: tuple[str, ...] | None = None,
) -> Layers:
    """Build the layers of one scene.

    Parameters
    ----------
    seed : int
        The same seed, shape, recipe and backdrops give the same layers.
    shape : (int, int)
        Rows and columns.
    recipe : Recipe or None
        What to show; drawn from the seed when None.
    backdrops : tuple of str or None
        Paths of photographs that may lie behind the part, as flat matt colour of state 0. They must not show bright
        ground metal, because the truth would call it background. One that cannot be read is passed over.

    Returns
    -------
    Layers
        Planes of shape `shape` with the truth in ``state`` and ``ground``; ``notes`` holds recipe and shares.
    """
    rng = np.random.default_rng(seed)
    drawn = sample_recipe(rng)
    recipe = recipe or drawn
    layers = (
        _surroundings(rng, shape, recipe, backdrops) if recipe.kind == "clutter" else blank(shape, recipe.mm_per_px)
    )
    if recipe.kind != "clutter":
        _build_part(rng, layers, recipe, backdrops)
    foreign.sprinkle(rng, layers)
    np.clip(layers.base, *TONES, out=layers.base)
    layers.notes = {"recipe": recipe.as_dict(), "seed": seed, "bright_share": bright_share(layers)}
    return layers


def _surroundings(
    rng: np.random.Generator, shape: tuple[int, int], recipe: Recipe, backdrops: tuple[str, ...] | None
) -> Layers:
    """What lies behind a part, or fills a scene without one."""
    back = blank(shape, recipe.mm_per_px)
    pasted = (
        bool(backdrops) and rng.random() < 0.5 and backdrop.paste_photo(rng, back, str(rng.choice(backdrops or ())))
    )
    if not pasted:
        backdrop.lay_floor(rng, back)
    few = 0.3 if pasted or recipe.kind == "clutter" else 1.0
    things.strew(rng, back, int(rng.poisson(7 * few)))
    return back


def _build_part(rng: np.random.Generator, layers: Layers, recipe: Recipe, backdrops: tuple[str, ...] | None) -> None:
    """Skin, spots, shape, fixings, and the part's place before its surroundings."""
    whole = np.ones(layers.shape, np.float32)
    colours = [cover.paint_colour(rng), *(cover.paint_colour(rng, True) for _ in range(rng.integers(0, 3)))]
    _lay_cover(rng, layers, whole, recipe, colours[0])
    relief, seam = form.joint(rng, layers) if recipe.joint else (None, None)
    if recipe.kind == "unworked":
        _weather(rng, layers, colours)
    else:
        if recipe.skin in ("weathered", "cast") and rng.random() < 0.5:
            oxide.lay_dull(rng, layers, whole, strokes.untouched(layers.shape))
        grind(rng, layers, recipe, colours, seam)
    if relief is not None:
        layers.height += relief
    form.bend_wall(rng, layers)
    if recipe.bead:
        bead.lay_bead(rng, layers)
    if recipe.fixings:
        form.fix(rng, layers, recipe.kind != "worked")
    if recipe.edges or recipe.holes:
        _cut(rng, layers, recipe, _surroundings(rng, layers.shape, recipe, backdrops))
    things.strew(rng, layers, recipe.clutter)


def _cut(rng: np.random.Generator, layers: Layers, recipe: Recipe, back: Layers) -> None:
    """Cut outline and holes of the part."""
    if recipe.edges:
        kind = str(rng.choice(part.OUTLINES, p=[0.36, 0.2, 0.06, 0.12, 0.14, 0.12]))
        distance = part.part_outline(rng, layers.shape, kind)
        if kind == "bar" and rng.random() < 0.6:
            form.tube(rng, layers, distance)
        part.cut_out(rng, layers, distance, back)
    if recipe.holes:
        part.drill(rng, layers, back)


def _lay_cover(
    rng: np.random.Generator, layers: Layers, share: Field, recipe: Recipe, colour: NDArray[np.float32]
) -> None:
    """Lay paint or an unworked skin."""
    if recipe.skin == "paint":
        cover.lay_paint(rng, layers, share, colour)
    else:
        skins.lay_skin(rng, layers, share, recipe.skin)


def _weather(rng: np.random.Generator, layers: Layers, colours: list[NDArray[np.float32]]) -> None:
    """Let an unworked wall show flaked paint, dull patches, runs and stains; all of it stays unworked."""
    draw = rng.random()
    if draw < 0.35:
        flaked = foreign.blobs(rng, layers, (5, 60), (0.03, 0.5))
        skins.lay_skin(rng, layers, flaked, "weathered" if rng.random() < 0.7 else str(rng.choice(skins.ON_STEEL)))
    elif draw < 0.55:
        cover.lay_paint(rng, layers, foreign.blobs(rng, layers, (5, 60), (0.05, 0.5)), colours[-1])
    if rng.random() < 0.4:
        oxide.lay_dull(rng, layers, np.ones(layers.shape, np.float32), strokes.untouched(layers.shape))


def bright_share(layers: Layers) -> float | None:
    """Share of the readable ground area (bead and tint left out) that is bright metal; None without a spot."""
    told = (layers.ground > 0) & (layers.state != BEAD) & (layers.state != State.BACKGROUND)
    return float(np.mean(layers.state[told] == State.BRIGHT)) if told.any() else None


__all__ = ["KINDS", "Recipe", "bright_share", "make_surface", "outline", "sample_recipe"]
