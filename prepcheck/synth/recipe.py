"""What a scene shows, drawn before any pixel."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np

from prepcheck.synth.metal import METALS
from prepcheck.synth.noise import log_uniform
from prepcheck.synth.strokes import TOOLS

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
    framed : bool
        Whether the phone is held over one or two spots so that they fill the picture, and what is left on them lies in
        patches that are large in it: the photo that a person takes who wants to know.
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
    framed: bool = False

    def as_dict(self) -> dict[str, object]:
        """Plain values, for a scene's meta file."""
        return asdict(self)


def sample_recipe(rng: np.random.Generator) -> Recipe:
    """Draw what a scene shows: seen from anywhere, or framed (six of ten that have a spot).

    Of the former one in four is wholly bright and three in ten have little residue, of the framed ones one in eight and
    three in ten.
    """
    kind = str(rng.choice(KINDS, p=[0.7, 0.15, 0.09, 0.06]))
    weights = [0.16, 0.16, 0.15, 0.11, 0.14, 0.08, 0.07, 0.06, 0.07]
    count = int(rng.choice([1, 2, 3], p=[0.55, 0.33, 0.12]))
    tools = tuple(str(t) for t in rng.choice(list(TOOLS), size=count, p=weights, replace=False))
    spots = int(rng.choice([1, 2, 3, 4], p=[0.64, 0.2, 0.1, 0.06]))
    mm = log_uniform(rng, 0.08, 0.4) if rng.random() < 0.55 else log_uniform(rng, 0.03, 1.2)
    metal_ = str(rng.choice(list(METALS), p=[0.85, 0.08, 0.05, 0.02]))
    residue_ = str(rng.choice(["none", "little", "much"], p=[0.25, 0.3, 0.45]))
    bead_, holes, edges, joint, fixings = (bool(rng.random() < p) for p in (0.13, 0.12, 0.5, 0.16, 0.13))
    things_ = int(rng.integers(1, 4)) if rng.random() < 0.15 else 0
    skin = _skin_for(rng, metal_)
    drawn = Recipe(kind, mm, tools, spots, metal_, skin, residue_, bead_, holes, edges, joint, fixings, things_)
    return _framed(rng.spawn(1)[0], drawn)


def _framed(rng: np.random.Generator, drawn: Recipe) -> Recipe:
    """Hold the phone over the spot, in six of ten scenes that have any; `rng` is its own, so that others stay as they were."""
    if drawn.kind not in ("spots", "worked") or rng.random() >= 0.6:
        return drawn
    mm, residue_ = log_uniform(rng, 0.06, 0.35), str(rng.choice(["none", "little", "much"], p=[0.12, 0.28, 0.6]))
    return replace(
        drawn, kind="spots", mm_per_px=mm, spots=min(drawn.spots, 2), residue=residue_, framed=True,
        clutter=0 if rng.random() < 0.7 else drawn.clutter,
    )  # fmt: skip


def _skin_for(rng: np.random.Generator, metal_: str) -> str:
    """Draw what covers a metal that nobody has worked."""
    if metal_ == "steel":
        return str(rng.choice(["paint", "scale", "rust", "galvanised", "dull steel"], p=[0.35, 0.25, 0.2, 0.05, 0.15]))
    if metal_ == "aluminium":
        return str(rng.choice(["paint", "weathered", "cast", "rolled", "anodised"], p=[0.54, 0.22, 0.14, 0.06, 0.04]))
    return str(rng.choice(["paint", "weathered", "rolled"]))
