"""From a seed to the layers of a surface: the part, its spots, what is left on them, and what lies around."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from prepcheck.synth import backdrop, bead, cover, foreign, form, metal, oxide, part, residue, skins, strokes, things
from prepcheck.synth.layers import BEAD, Layers, blank
from prepcheck.synth.noise import Field, clouds, log_uniform, ramp
from prepcheck.synth.spots import filled, ground_areas, outline
from prepcheck.terms import State

KINDS = ("spots", "worked", "unworked", "clutter")


@dataclass(frozen=True)
class Recipe:
    """What a scene shows, drawn before any pixel.

    Attributes
    ----------
    kind : str
        ``spots`` (a part with ground spots), ``worked`` (all that is seen of the part is ground or machined),
        ``unworked`` (a part without any) or ``clutter`` (no part at all).
    mm_per_px : float
        Millimetres per pixel.
    tools : tuple of str
        Tools used one after the other, names of :data:`prepcheck.synth.strokes.TOOLS`.
    spots : int
        Number of ground spots asked for.
    metal : str
        A name of :data:`prepcheck.synth.metal.METALS`.
    skin : str
        ``paint``, or a name of :data:`prepcheck.synth.skins.SKINS`: what lies around the spots.
    residue : str
        ``none`` (wholly bright spots), ``little`` (1 to 15 % in small patches) or ``much``.
    bead, holes, edges, joint, fixings : bool
        Weld bead, through-holes, part edges in view; a lap joint, fold or rib; rivets or bolts.
    clutter : int
        Things that lie over the part.
    """

    kind: str
    mm_per_px: float
    tools: tuple[str, ...]
    spots: int
    metal: str
    skin: str
    residue: str
    bead: bool
    holes: bool
    edges: bool
    joint: bool
    fixings: bool
    clutter: int

    def as_dict(self) -> dict[str, object]:
        """Plain values, for a scene's meta file."""
        return asdict(self)


def sample_recipe(rng: np.random.Generator) -> Recipe:
    """Draw what a scene shows: one in three spots is wholly bright, one has little residue, one has much."""
    kind = str(rng.choice(KINDS, p=[0.64, 0.12, 0.14, 0.1]))
    weights = [0.16, 0.16, 0.15, 0.11, 0.14, 0.08, 0.07, 0.06, 0.07]
    count = int(rng.choice([1, 2, 3], p=[0.55, 0.33, 0.12]))
    tools = tuple(str(t) for t in rng.choice(list(strokes.TOOLS), size=count, p=weights, replace=False))
    spots = int(rng.choice([1, 2, 3, 4], p=[0.64, 0.2, 0.1, 0.06]))
    mm = log_uniform(rng, 0.08, 0.4) if rng.random() < 0.55 else log_uniform(rng, 0.03, 1.2)
    metal_ = str(rng.choice(list(metal.METALS), p=[0.85, 0.08, 0.05, 0.02]))
    residue_ = str(rng.choice(["none", "little", "much"]))
    bead_, holes, edges, joint, fixings = (bool(rng.random() < p) for p in (0.13, 0.12, 0.5, 0.16, 0.13))
    things_ = int(rng.integers(1, 4)) if rng.random() < 0.15 else 0
    return Recipe(
        kind, mm, tools, spots, metal_, _skin_for(rng, metal_), residue_, bead_, holes, edges, joint, fixings, things_
    )


def _skin_for(rng: np.random.Generator, metal_: str) -> str:
    """Draw what covers a metal that nobody has worked."""
    if metal_ == "steel":
        return str(rng.choice(["paint", "scale", "rust", "galvanised", "dull steel"], p=[0.35, 0.25, 0.2, 0.05, 0.15]))
    if metal_ == "aluminium":
        return str(rng.choice(["paint", "weathered", "cast", "rolled", "anodised"], p=[0.54, 0.22, 0.14, 0.06, 0.04]))
    return str(rng.choice(["paint", "weathered", "rolled"]))


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
    if recipe.kind in ("spots", "worked"):
        _grind(rng, layers, recipe, colours, seam)
    else:
        _weather(rng, layers, colours)
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


def _grind(
    rng: np.random.Generator, layers: Layers, recipe: Recipe, colours: list[NDArray[np.float32]], seam: Field | None
) -> None:
    """Grind the spots: metal with marks, what the tool left, the coating's edge; then draw the outline around it."""
    worked = strokes.untouched(layers.shape)
    everything = recipe.kind == "worked"
    area = (
        np.ones(layers.shape, np.uint8)
        if everything
        else ground_areas(rng, layers.shape, layers.mm_per_px, recipe.spots)
    )
    _use_tools(rng, worked, area, recipe)
    ground = outline(worked.cover, area)
    inside = ground > 0
    metal.bare(rng, layers, worked, inside, recipe.metal)
    _leave(rng, layers, worked, inside, recipe, seam)
    if not everything:
        ground = _cover_again(rng, layers, worked, ground, recipe, colours)
    layers.ground[:] = ground
    stray = (ground == 0) & (layers.state != State.BACKGROUND)
    layers.state[stray] = State.COATING


def _use_tools(rng: np.random.Generator, worked: strokes.Worked, area: NDArray[np.uint8], recipe: Recipe) -> None:
    """Use each tool in turn, the later ones on a part of the area; then single scratches and chatter."""
    mm = recipe.mm_per_px
    distance = part.signed_distance(area) if not area.all() else np.full(area.shape, 1e3, np.float32)
    for number, name in enumerate(recipe.tools):
        reach = distance
        if number:
            cell = log_uniform(rng, 10, 80) / mm
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
    """Leave pits, oxide and foreign matter as the recipe says; nothing at all for ``none``."""
    if recipe.residue == "none":
        return
    much = recipe.residue == "much"
    hearts = None
    if rng.random() < (0.55 if much else 0.3):
        hearts = residue.sink_pits(rng, layers, inside, 90 if much else 12)
    pits = layers.state == State.PIT
    on_steel = recipe.metal in ("steel", "brass")
    if on_steel:
        for _ in range(rng.integers(1, 3) if much else 1):
            _scale_left(rng, layers, inside, oxide.share_left(rng, recipe.residue), str(rng.choice(["rust", "scale"])))
    else:
        oxide.lay_oxide(rng, layers, worked, inside, oxide.share_left(rng, recipe.residue), seam, hearts)
    layers.state[pits & inside] = State.PIT
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
    rng: np.random.Generator, layers: Layers, worked: strokes.Worked, ground: NDArray[np.uint8], recipe: Recipe,
    colours: list[NDArray[np.float32]],
) -> NDArray[np.uint8]:  # fmt: skip
    """Put the cover back outside and where the tool left it, coat by coat; returns the outline of what is bare."""
    distance = part.signed_distance(ground)
    flecks = rng.random() < {"none": 0.0, "little": 0.2, "much": 0.5}[recipe.residue]
    left, step = cover.left_over(rng, distance, layers.mm_per_px, worked.bite, flecks)
    bare = filled(np.asarray((left < 0.5) & (ground > 0), np.uint8), 40)
    left[(bare == 0) & (left < 0.5)] = 1.0
    if recipe.residue == "none":
        left[(bare > 0) & (left >= 0.5)] = 0.0
    coats = colours[:0:-1] if recipe.skin == "paint" else []
    waves = clouds(rng, layers.shape, max(12 / layers.mm_per_px, 4), 4) if coats else None
    under = left
    for number, colour in enumerate([*coats, colours[0]]):
        if number and waves is not None:
            stray = distance + np.float32(number * step) * (1 + 0.4 * waves)
            under = np.asarray(np.minimum(under, 1 - ramp(stray, -0.2 * step, 0.2 * step)), np.float32)
        _lay_cover(rng, layers, under, recipe, colour)
    if recipe.skin in ("weathered", "cast") and rng.random() < 0.5:
        oxide.lay_dull(rng, layers, 1 - np.asarray(ground, np.float32), worked)
    return bare


def bright_share(layers: Layers) -> float | None:
    """Share of the readable ground area (bead and tint left out) that is bright metal; None without a spot."""
    told = (layers.ground > 0) & (layers.state != BEAD) & (layers.state != State.BACKGROUND)
    return float(np.mean(layers.state[told] == State.BRIGHT)) if told.any() else None


__all__ = ["KINDS", "Recipe", "bright_share", "make_surface", "outline", "sample_recipe"]
