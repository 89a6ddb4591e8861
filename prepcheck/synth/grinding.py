"""Grinding: tools on the spots of a part, what they leave, and the edge of the cover around them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from prepcheck.synth import cover, foreign, metal, oxide, part, residue, skins, strokes
from prepcheck.synth.layers import Layers
from prepcheck.synth.noise import Field, clouds, log_uniform, ramp
from prepcheck.synth.recipe import Recipe
from prepcheck.synth.spots import filled, ground_areas, outline
from prepcheck.terms import State

Colours = list[NDArray[np.float32]]
Mask = NDArray[np.uint8]


def grind(rng: np.random.Generator, layers: Layers, recipe: Recipe, colours: Colours, seam: Field | None) -> None:
    """Grind the spots of a recipe one by one; writes states and the outlines in ``ground``.

    `colours` are the topcoat and the coats under it, downwards; `seam` is the distance to a joint in mm.
    """
    if recipe.kind == "worked":
        worked, ground = _work(rng, layers, np.ones(layers.shape, np.uint8), recipe)
        _finish(rng, layers, worked, ground > 0, recipe, seam)
        layers.ground[:] = ground
    elif recipe.skin in ("cast", "anodised") and rng.random() < 0.6:
        _spot(rng, layers, _faces(rng, layers, recipe), recipe, colours, seam, True)
    else:
        for area in ground_areas(rng, layers.shape, layers.mm_per_px, recipe.spots, recipe.framed):
            step = max(log_uniform(rng, 0.3, 6.0) / layers.mm_per_px, 1.0)
            box = _around(area, 12.0 / layers.mm_per_px + 40 + 2.5 * step * len(colours))
            near = None if seam is None else seam[box]
            _spot(rng, layers.view(box), area[box], recipe, colours, near, False, step)


def _around(area: Mask, margin: float) -> tuple[slice, slice]:
    """Box around an area with a margin in pixels."""
    ys, xs = np.nonzero(area.any(axis=1))[0], np.nonzero(area.any(axis=0))[0]
    room = int(margin)
    return slice(max(0, ys[0] - room), ys[-1] + room + 1), slice(max(0, xs[0] - room), xs[-1] + room + 1)


def _spot(
    rng: np.random.Generator, layers: Layers, area: Mask, recipe: Recipe, colours: Colours, seam: Field | None,
    faces: bool, step: float = 1.0,
) -> None:  # fmt: skip
    """Grind one area and put the cover back around it."""
    before = layers.copy()
    worked, ground = _work(rng, layers, area, recipe)
    ground = area if faces else ground
    _finish(rng, layers, worked, ground > 0, recipe, seam)
    _cover_again(rng, layers, before, worked, ground, recipe, colours, faces, step)


def _work(rng: np.random.Generator, layers: Layers, area: Mask, recipe: Recipe) -> tuple[strokes.Worked, Mask]:
    """Use the tools on an area; returns the marks and the outline of what they reached."""
    worked = strokes.untouched(layers.shape)
    _use_tools(rng, worked, area, recipe)
    return worked, outline(worked.cover, area)


def _finish(
    rng: np.random.Generator, layers: Layers, worked: strokes.Worked, inside: NDArray[np.bool_], recipe: Recipe,
    seam: Field | None,
) -> None:  # fmt: skip
    """Show the metal and what is left on it."""
    metal.bare(rng, layers, worked, inside, recipe.metal)
    if recipe.residue != "none":
        _leave(rng, layers, worked, inside, recipe, seam)


def _faces(rng: np.random.Generator, layers: Layers, recipe: Recipe) -> Mask:
    """Raise the faces of a casting that were machined; returns where they are."""
    faces = [part.part_outline(rng, layers.shape) for _ in range(recipe.spots)]
    distance = np.asarray(np.maximum.reduce(faces), np.float32)
    part.chamfer(layers, distance, max(0.5 / layers.mm_per_px, 2.0), rng.uniform(0.3, 1.0))
    part.chamfer(layers, -distance, max(log_uniform(rng, 0.5, 5) / layers.mm_per_px, 2.0), -rng.uniform(0.2, 1.0))
    mask = np.asarray(distance > 0, np.uint8)
    return mask if mask.any() else np.ones_like(mask)


def _use_tools(rng: np.random.Generator, worked: strokes.Worked, area: NDArray[np.uint8], recipe: Recipe) -> None:
    """Use each tool in turn, the later ones on a part of the area; then single scratches and chatter."""
    mm = recipe.mm_per_px
    distance = part.signed_distance(area) if not area.all() else np.full(area.shape, 1e3, np.float32)
    for number, name in enumerate(recipe.tools):
        reach = distance
        if number:
            cell = max(log_uniform(rng, 10, 80) / mm, 70.0)
            field = clouds(rng, (area.shape[0], area.shape[1]), cell, 2) - rng.uniform(-0.8, 0.5)
            reach = np.minimum(distance, field * np.float32(cell * 0.3))
        way = strokes.TOOLS[name]
        strokes.work_over(rng, worked, np.asarray(reach, np.float32), mm, way)
        if rng.random() < way.chatter:
            strokes.ripple(rng, worked, area, mm)
    if rng.random() < 0.5:
        strokes.scratch_singly(rng, worked, area, mm, int(log_uniform(rng, 3, 120)))


def _leave(
    rng: np.random.Generator, layers: Layers, worked: strokes.Worked, inside: NDArray[np.bool_], recipe: Recipe,
    seam: Field | None,
) -> None:  # fmt: skip
    """Leave oxide (or scale and rust), pits and foreign matter, little or much of it."""
    much = recipe.residue == "much"
    pitted = rng.random() < (0.6 if much else 0.4)
    hole, radius = residue.place_pits(rng, layers, inside, 60 if much else 10) if pitted else (None, 0.0)
    if recipe.metal in ("steel", "brass"):
        for _ in range(rng.integers(1, 3) if much else 1):
            _scale_left(rng, layers, inside, oxide.share_left(rng, recipe.residue), str(rng.choice(["rust", "scale"])))
    else:
        hearts = None if hole is None else residue.around(layers, hole)
        share = oxide.share_left(rng, recipe.residue)
        oxide.lay_oxide(rng, layers, worked, inside, share, seam, hearts, large=recipe.framed)
    if hole is not None:
        residue.sink_pits(rng, layers, hole, radius)
    for _ in range(rng.integers(0, 3) if much else int(rng.random() < 0.3)):
        foreign.lay_foreign(rng, layers, inside)


def _scale_left(rng: np.random.Generator, layers: Layers, inside: NDArray[np.bool_], share: float, kind: str) -> None:
    """Leave mill scale or rust on ground steel; writes FOREIGN."""
    field = clouds(rng, layers.shape, max(log_uniform(rng, 2, 30) / layers.mm_per_px, 4), 6, 0.55)
    cut = float(np.quantile(field[inside][::7], 1 - share)) if inside.any() else 9.0
    left = np.asarray(ramp(field, cut - 0.1, cut + 0.1) * inside, np.float32)
    keep = layers.state.copy()
    skins.lay_skin(rng, layers, left, kind)
    layers.state[:] = keep
    layers.state[(left >= 0.5) & inside] = State.FOREIGN


def _cover_again(
    rng: np.random.Generator, layers: Layers, before: Layers, worked: strokes.Worked, ground: Mask, recipe: Recipe,
    colours: Colours, faces: bool, step: float,
) -> None:  # fmt: skip
    """Put the cover back outside and where the tool left it, lower coats as rings; the outline is what is bare."""
    distance = part.signed_distance(ground)
    flecks = rng.random() < {"none": 0.0, "little": 0.2, "much": 0.5}[recipe.residue]
    left = cover.left_over(rng, distance, layers.mm_per_px, worked.bite, flecks, "cut" if faces else None)
    bare = np.asarray((left < 0.5) & (ground > 0), np.uint8)
    bare = ground if faces else filled(bare, 40)
    left[(bare == 0) & (left < 0.5)] = 1.0
    if recipe.residue == "none":
        left[(bare > 0) & (left >= 0.5)] = 0.0
    top = left
    coats = colours[:0:-1] if recipe.skin == "paint" else []
    waves = clouds(rng, layers.shape, max(12 / layers.mm_per_px, 4), 4) if coats else distance
    for number, colour in enumerate(coats, 1):
        cover.lay_paint(rng, layers, top, colour)
        stray = distance + np.float32(number * step) * (1 + np.float32(0.4) * waves)
        top = np.asarray(np.minimum(top, 1 - ramp(stray, -0.2 * step, 0.2 * step)), np.float32)
    _restore(layers, before, top)
    layers.ground[:] = np.where(top >= 0.5, before.ground * (bare == 0), 0) + bare
    _traces(rng, layers, distance)
    stray_metal = (layers.ground == 0) & (layers.state != State.BACKGROUND)
    layers.state[stray_metal] = State.COATING


def _traces(rng: np.random.Generator, layers: Layers, distance: Field) -> None:
    """Leave grinding dust and slips of the tool around a spot, too thin to change any state."""
    outside = distance <= 0
    if rng.random() < 0.3:
        reach = np.float32(rng.uniform(3, 12) / layers.mm_per_px + 10)
        near = np.square(np.clip(1 + distance / reach, 0, 1)) * outside
        film = near * np.clip(0.5 + 0.5 * clouds(rng, layers.shape, 40, 4), 0, 1) * np.float32(rng.uniform(0.1, 0.45))
        layers.mix(np.asarray(film, np.float32), base=rng.uniform(0.15, 0.6), metal=0.1, alpha_u=0.6, alpha_v=0.6)
    if rng.random() < 0.25:
        rim = np.argwhere(np.abs(distance) < 1.5)
        slips = strokes.slips(rng, layers.shape, rim, layers.mm_per_px)
        share = np.asarray(slips * outside * np.float32(0.45), np.float32)
        layers.mix(share, base=0.85, metal=0.9, alpha_u=0.15, alpha_v=0.25)


def _restore(layers: Layers, before: Layers, share: Field) -> None:
    """Bring back what was there before the grinding."""
    names = ("height", "theta", "alpha_u", "alpha_v", "metal", "base", "cavity")
    layers.mix(share, **{name: getattr(before, name) for name in names})
    back = share >= 0.5
    layers.state[back] = before.state[back]
