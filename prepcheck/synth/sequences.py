"""A spot ground again and again: the same part over two or three passes, with what truly stays.

Corrosion lies in deposits: each has one depth that is drawn once, and every pass grinds further down into it, so what is
left lies inside what was left before. Tool marks and light are new in every pass, and the phone is held anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.photo.card_design import outline as card_outline
from prepcheck.synth import foreign, grinding, metal, oxide, residue, strokes
from prepcheck.synth.bowser import Laid, _lay_card, to_canvas
from prepcheck.synth.camera import sample_camera
from prepcheck.synth.layers import TONES, Layers
from prepcheck.synth.light import sample_rig
from prepcheck.synth.noise import Field, log_uniform, ramp, soft
from prepcheck.synth.picture import Picture
from prepcheck.synth.recipe import Recipe, sample_recipe
from prepcheck.synth.scene import make_surface
from prepcheck.synth.sets import SHAPE, Pose, Seen, Shake, canvas, fit, hold, photograph, to_first
from prepcheck.synth.torches import another
from prepcheck.terms import State

Mask = NDArray[np.bool_]
Labels = NDArray[np.uint8]
LEAST_MM2 = 3.0
"""Of a patch that persists (design, section 4)."""
SMALLER = 255
"""Label of smaller patches."""
TRIES = 6
"""Walls made at most for one sequence."""
FORM_MM = 4.0
"""Relief broader than this is the wall's own and stays under the tool."""
SLIGHTLY, WELL = Shake(3, 4, 0.05, 0.03), Shake(8, 12, 0.12, 0.07)


@dataclass(frozen=True)
class PassPicture:
    """The photo of one pass, and labels of what persists in it: 1 to 254 a patch that lay there in the pass before too,
    at least 3 mm2 of it; 255 smaller ones; uint8 of the photo's shape."""

    picture: Picture
    persisting: Labels


@dataclass(frozen=True, eq=False)
class Deposit:
    """One body of corrosion: where it may be seen, the share of that covered in each pass, and whether it is pitted."""

    seed: tuple[int, ...]
    where: Mask
    worked: strokes.Worked
    shares: tuple[float, ...]
    pitted: bool

    def lay(self, layers: Layers, number: int) -> None:
        """Leave what pass `number` (from 0) leaves of it."""
        hole, radius = None, 0.0
        if self.pitted:
            hole, radius = residue.place_pits(np.random.default_rng([*self.seed, 0]), layers, self.where, 12)
        hearts = None if hole is None else residue.around(layers, hole)
        rng = np.random.default_rng([*self.seed, 1])
        oxide.lay_oxide(rng, layers, self.worked, self.where, self.shares[number], None, hearts)
        if hole is not None and self.shares[number] > 0:
            left = np.sqrt(self.shares[number] / max(self.shares))
            residue.sink_pits(np.random.default_rng([*self.seed, 2]), layers, _narrowed(hole, left), radius * left)


def make_sequence(seed: int, shape: tuple[int, int] = SHAPE) -> list[PassPicture]:
    """Photograph the spots of `seed` after each of two or three grinding passes.

    Parameters
    ----------
    seed : int
        The same seed and shape give the same sequence.
    shape : (int, int)
        Rows and columns of each photo.

    Returns
    -------
    list of PassPicture
        Truth in each photo's own frame. ``meta`` holds ``pass_no`` (from 1), ``course`` (``stays``, ``goes``: nothing
        persists in the last pass), ``exposed`` (the pass in which new residue came up, 0: none), ``moved`` (``slightly``
        or ``well``), ``card`` (``none``, ``kept``, or ``laid anew`` in every pass), ``persisting`` (label, area in mm2),
        and ``to_first`` and ``to_mm`` as in :func:`prepcheck.synth.sets.make_set`.
    """
    rng = np.random.default_rng([seed, 3])
    with_card = bool(rng.random() < 0.65)
    recipe = _recipe(rng, with_card)
    wall, count = _framed(seed, canvas(shape), recipe), int(rng.choice([2, 3]))
    notes = {**wall.notes, "course": "goes" if rng.random() < 0.25 else "stays"}
    inside = (wall.ground > 0) & (wall.state == State.BRIGHT)
    passes, notes["exposed"] = _ground_again(rng, seed, wall, inside, recipe, count, str(notes["course"]))
    poses, notes["moved"] = _held(rng, wall, count, shape)
    notes["card"] = _with_card(rng, passes, poses, shape) if with_card else "none"
    phone, pictures = sample_camera(rng), []
    for k, (layers, pose) in enumerate(zip(passes, poses, strict=True)):
        seen = Seen(layers, pose, shape)
        picture = photograph(rng, seen, sample_rig(rng), another(rng, phone))
        labels, areas = persisting(passes[k - 1], layers) if k else (np.zeros(layers.shape, np.uint8), [])
        told = {"pass_no": k + 1, "to_first": to_first(poses, k, shape), "persisting": areas}
        meta = {**notes, **picture.meta, **told}
        pictures.append(PassPicture(replace(picture, meta=meta), np.asarray(seen.plane(labels), np.uint8)))
    return pictures


def persisting(earlier: Layers, later: Layers) -> tuple[Labels, list[dict[str, float]]]:
    """Label what is oxide or pit in both passes: patches of at least 3 mm2 from 1, smaller ones 255; and their areas."""
    both = np.logical_and(
        *(np.isin(one.state, (State.OXIDE, State.PIT)) & (one.ground > 0) for one in (earlier, later))
    )
    _, number, facts, _ = cv2.connectedComponentsWithStats(both.astype(np.uint8), connectivity=8)
    mm2 = facts[:, cv2.CC_STAT_AREA] * later.mm_per_px**2
    large = [int(n) for n in np.argsort(-mm2) if n > 0 and mm2[n] >= LEAST_MM2][: SMALLER - 1]
    code = np.full(len(mm2), SMALLER, np.uint8)
    code[0], code[large] = 0, np.arange(1, len(large) + 1)
    return code[number], [{"label": k, "area_mm2": float(mm2[n])} for k, n in enumerate(large, 1)]


def _framed(seed: int, shape: tuple[int, int], recipe: Recipe) -> Layers:
    """Make the wall, again where the spots are not about in the middle, as somebody would hold the phone over them."""
    for number in range(TRIES):
        wall = make_surface(TRIES * seed + number, shape, recipe)
        moments = cv2.moments(wall.ground, binaryImage=True)
        middle = np.asarray([moments["m10"], moments["m01"]]) / max(moments["m00"], 1.0) / shape[::-1]
        if (np.abs(middle - 0.5) < 0.2).all() and 0.03 < float(wall.ground.mean()) < 0.6:
            break
    return wall


def _recipe(rng: np.random.Generator, with_card: bool) -> Recipe:
    """Draw an aluminium part with one or two spots, wide enough for a card where one lies there."""
    drawn = sample_recipe(rng)
    skin = drawn.skin if drawn.skin in ("paint", "weathered", "cast", "rolled") else "paint"
    mm = log_uniform(rng, 0.21, 0.32) if with_card else log_uniform(rng, 0.08, 0.25)
    return replace(
        drawn, kind="spots", mm_per_px=mm, spots=int(rng.choice([1, 1, 2])), metal="aluminium", skin=skin,
        residue="none", bead=False, holes=False, joint=False, clutter=0,
    )  # fmt: skip


def _ground_again(
    rng: np.random.Generator, seed: int, wall: Layers, inside: Mask, recipe: Recipe, count: int, course: str
) -> tuple[list[Layers], int]:
    """Make the planes after each pass, and tell in which new residue came up (0: in none)."""
    made = [_bare(rng, wall, inside, replace(recipe, tools=sample_recipe(rng).tools)) for _ in range(count)]
    first, worked = made[0]
    shares = _shrinking(rng, count, course == "goes")
    deposits = [Deposit((seed, 11), inside, worked, shares, bool(rng.random() < 0.45))]
    deposits[0].lay(first, 0)
    exposed = int(rng.integers(2, count + 1)) if rng.random() < 0.4 else 0
    if exposed:
        old = soft(np.isin(first.state, (State.OXIDE, State.PIT)).astype(np.float32), 1.5 / wall.mm_per_px) > 0.02
        later = (0.0,) * (exposed - 1) + _shrinking(rng, count + 1 - exposed, False, (0.02, 0.12))
        deposits.append(Deposit((seed, 12), inside & ~old, worked, later, bool(rng.random() < 0.3)))
    for k, (layers, _) in enumerate(made):
        for deposit in deposits if k else ():
            deposit.lay(layers, k)
        if rng.random() < 0.2:
            foreign.lay_foreign(rng, layers, inside)
        np.clip(layers.base, *TONES, out=layers.base)
    return [layers for layers, _ in made], exposed


def _shrinking(
    rng: np.random.Generator, count: int, goes: bool, first: tuple[float, float] = (0.1, 0.6)
) -> tuple[float, ...]:
    """Draw the share left after each pass; where it `goes`, the last pass leaves nothing."""
    shares = [log_uniform(rng, *first)]
    while len(shares) < count:
        shares.append(shares[-1] * float(rng.uniform(0.25, 0.8)))
    return (*shares[:-1], 0.0) if goes else tuple(shares)


def _bare(rng: np.random.Generator, wall: Layers, inside: Mask, recipe: Recipe) -> tuple[Layers, strokes.Worked]:
    """Grind the spots bright with new marks; the wall keeps its form."""
    layers, worked = wall.copy(), strokes.untouched(wall.shape)
    grinding._use_tools(rng, worked, inside.astype(np.uint8), recipe)
    form = soft(wall.height, FORM_MM / wall.mm_per_px)
    metal.bare(rng, layers, worked, inside, recipe.metal)
    layers.height[inside] += form[inside]
    return layers, worked


def _narrowed(hole: Field, left: float) -> Field:
    """Draw pits in to `left` of their radius."""
    depth = cv2.distanceTransform((hole >= 0.5).astype(np.uint8), cv2.DIST_L2, 5)
    rim = (1 - left) * float(depth.max(initial=0.0))
    return hole if left >= 1 else np.asarray(hole * ramp(np.asarray(depth, np.float32), rim, rim + 1), np.float32)


def _held(rng: np.random.Generator, wall: Layers, count: int, shape: tuple[int, int]) -> tuple[list[Pose], str]:
    """Hold the phone anew for every pass, moved slightly or well."""
    moved, first = str(rng.choice(["slightly", "well"])), hold(rng, wall)
    shake = SLIGHTLY if moved == "slightly" else WELL
    return fit([first, *(shake.pose(rng, first) for _ in range(count - 1))], wall, shape), moved


def _with_card(
    rng: np.random.Generator, passes: Sequence[Layers], poses: Sequence[Pose], shape: tuple[int, int]
) -> str:
    """Lay the scale card beside the spots, in view of all photos: at one place, or anew in every pass."""
    tries = [_laid(rng, passes[0]) for _ in range(400)]
    seen = [(hidden, laid) for laid in tries if (hidden := _hidden(passes[0], laid, poses, shape)) < 0.1]
    if not seen:
        return "none"
    kept = bool(rng.random() < 0.5)
    ranked = [laid for _, laid in sorted(seen, key=lambda one: one[0])]
    for k, layers in enumerate(passes):
        _lay_card(layers, ranked[0 if kept else min(k, len(ranked) - 1)])
    return "kept" if kept else "laid anew"


def _laid(rng: np.random.Generator, layers: Layers) -> Laid:
    rows, cols = layers.shape
    reach = 0.5 * layers.mm_per_px
    at = (float(rng.uniform(-cols, cols) * reach), float(rng.uniform(-rows, rows) * reach))
    return Laid(at, float(rng.normal(0, 8) + rng.choice([0, 0, 90, 180])))


def _hidden(layers: Layers, laid: Laid, poses: Sequence[Pose], shape: tuple[int, int]) -> float:
    """Share of the ground area that a card would hide; 1 where it would be out of a picture."""
    ends = cv2.perspectiveTransform(card_outline()[None], laid.from_card)
    size = (shape[1], shape[0])
    places = [cv2.perspectiveTransform(ends, pose.from_mm(size))[0] for pose in poses]
    if any((p < 8).any() or (p > np.asarray(size) - 9).any() for p in places):
        return 1.0
    on = np.zeros(layers.shape, np.uint8)
    cv2.fillConvexPoly(on, np.round(cv2.perspectiveTransform(ends, to_canvas(layers))).astype(np.int32), 1)
    spots = layers.ground > 0
    return float(np.mean(on[spots])) if spots.any() else 0.0
