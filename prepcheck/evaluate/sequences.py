"""Measures how a spot is followed over sequences of grinding passes with known truth.

Layout: as in :mod:`prepcheck.evaluate.cameras`, a group a sequence; of each sequence's last pass ``persisting/NAME.png``
labels what truly stayed: 1 to 254 a patch of at least 3 mm2 each, 255 smaller ones, 0 nothing.

Measure a model on sequences it was not chosen on, and see on others what ``sure_probability`` costs and brings::

    python -m prepcheck.evaluate.sequences HELD --model default --align
    python -m prepcheck.evaluate.sequences LEARN --model default --curve
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import Unreadable
from prepcheck.evaluate.bootstrap import Counts, Figure, Measure, figures, total
from prepcheck.evaluate.cameras import (
    Align,
    KnownView,
    Labels,
    found_align,
    read_groups,
    read_labels,
    shaken,
    true_align,
)  # fmt: skip
from prepcheck.inspection import inspect
from prepcheck.photo import read
from prepcheck.photo.align import NotAligned
from prepcheck.settings import FollowSettings, Settings
from prepcheck.spot import Spot
from prepcheck.spot.follow import EarlierPass, PersistingPatch, persisting_patches
from prepcheck.surface import Model, ModelOrigin, SurfaceMap, load_model
from prepcheck.terms import RESIDUE

Counted = NDArray[np.float64]
_SMALLER = 255
_LEAST_MM2 = 3.0
"""Of a patch that has to be found (design, section 4)."""
SIZES_MM2 = (_LEAST_MM2, 10.0, 30.0, 100.0)
"""Least areas of the sizes by which true patches are counted."""
CURVE = (0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.9, 0.925, 0.95, 0.975, 0.99)
"""Values of ``sure_probability`` of a curve."""
MOST_FALSE = 0.1
"""False patches a sequence that are borne (own choice: a flag that is wrong more often is not looked at)."""
_SHARP = ModelOrigin("truth", "0" * 64, 0.5, 0.0, 0.0)


@dataclass(frozen=True, eq=False)
class SequenceTruth:
    """The passes of one spot in order, and labels of what truly persists in the last one's frame."""

    name: str
    passes: tuple[KnownView, ...]
    persisting: Labels = field(repr=False)


@dataclass(frozen=True, eq=False)
class FollowTally(Counts):
    """Counts of sequences: true persisting patches and those found, by size too; all that were told, the false ones, and of
    these the ones partly right; sequences in which a true patch stays, and those of them in which one was found; sequences in
    which nothing stays, and those of them in which something was told."""

    sequences: float
    patches: float
    found: float
    patches_of_size: Counted
    found_of_size: Counted
    told: float
    false: float
    partly: float
    staying: float
    flagged: float
    clean: float
    wrongly: float


def _found_of_size(k: int) -> Measure:
    return lambda t: _share(t.found_of_size[..., k], t.patches_of_size[..., k])


MEASURES: dict[str, Measure] = {
    "persisting patches found": lambda t: _share(t.found, t.patches),
    **{f"  of {least:g} mm2 and more, to the next size": _found_of_size(k) for k, least in enumerate(SIZES_MM2)},
    "false persisting patches a sequence": lambda t: _share(t.false, t.sequences),
    "  of them at least a quarter right": lambda t: _share(t.partly, t.false),
    "where patches stay, one was found": lambda t: _share(t.flagged, t.staying),
    "where nothing stays, something was told": lambda t: _share(t.wrongly, t.clean),
}


@dataclass(frozen=True, eq=False)
class Followed:
    """What was told of one sequence, and how it lies on what truly persists.

    Parameters
    ----------
    told : tuple of PersistingPatch
        The n patches told.
    right : ndarray, shape (n,), float64
        Share of each that lies on what truly persists, patches under 3 mm2 included.
    covers : ndarray, shape (n, m), float64
        Share that each covers of each of the m true patches that have to be found.
    areas_mm2 : ndarray, shape (m,), float64
        Areas of the true patches in view.
    clean : bool
        Nothing truly persists, nowhere.
    """

    told: tuple[PersistingPatch, ...]
    right: Counted = field(repr=False)
    covers: Counted = field(repr=False)
    areas_mm2: Counted = field(repr=False)
    clean: bool

    def tally(self, sure_probability: float = 0.0) -> FollowTally:
        """Count what would have been told with a higher ``sure_probability`` than it was followed with.

        Found: at least a quarter of a true patch is told to persist. False: less than half of a told patch truly does.
        """
        told = np.array([patch.probability >= sure_probability for patch in self.told], bool)
        found = self.covers[told].sum(axis=0) >= 0.25
        size = np.digitize(self.areas_mm2, SIZES_MM2[1:])
        right = self.right[told]
        return FollowTally(
            sequences=1.0,
            patches=float(len(found)),
            found=float(found.sum()),
            patches_of_size=np.bincount(size, minlength=len(SIZES_MM2)).astype(np.float64),
            found_of_size=np.bincount(size[found], minlength=len(SIZES_MM2)).astype(np.float64),
            told=float(told.sum()),
            false=float((right < 0.5).sum()),
            partly=float(((right >= 0.25) & (right < 0.5)).sum()),
            staying=float(len(found) > 0),
            flagged=float(found.any()),
            clean=float(self.clean),
            wrongly=float(self.clean and told.any()),
        )


Look = Callable[[KnownView], tuple[SurfaceMap, tuple[NDArray[np.bool_], ...]]]
"""Gives the surface map of a pass and the masks of its spots."""


def read_sequences(folder: Path) -> Iterator[SequenceTruth]:
    """Read the sequences of a folder, those with two passes or more.

    Raises
    ------
    Unreadable
        There is none, or a file says something else.
    """
    found = False
    for group, passes in read_groups(folder):
        if all(one.pass_no is not None for one in passes):
            found = True
            yield SequenceTruth(group, passes, read_labels(folder / f"persisting/{passes[-1].path.stem}.png"))
    if not found:
        raise Unreadable("holds no sequence of passes", "See the layout in the docs", str(folder))


def true_look(one: KnownView) -> tuple[SurfaceMap, tuple[NDArray[np.bool_], ...]]:
    """Look with the true map in place of the model: what is measured then is following alone."""
    bright = np.where(np.isin(one.states, RESIDUE), 0.01, 0.99).astype(np.float32)
    burnt = np.zeros(one.states.shape, bool)
    surface = SurfaceMap(one.states, bright, one.ground.astype(np.float32), burnt, (1.0, 1.0), _SHARP)
    return surface, (one.ground,) if one.ground.any() else ()


def model_look(model: Model, settings: Settings) -> Look:
    """Return a look with the model's own map and spots."""

    def look(one: KnownView) -> tuple[SurfaceMap, tuple[NDArray[np.bool_], ...]]:
        inspection = inspect(read(one.path, settings), model, settings)
        return inspection.surface, tuple(spot.mask for spot, _ in inspection.answer.spots)

    return look


def follow_sequence(truth: SequenceTruth, look: Look, align: Align, settings: Settings) -> Followed:
    """Follow one sequence and lay what is told to persist on the truth."""
    *earlier, last = truth.passes
    surface, masks = look(last)
    laid = [(one, align(last, one)) for one in earlier]
    history = [EarlierPass(one.pass_no or 0, look(one)[0], way) for one, way in laid if not isinstance(way, NotAligned)]
    spots = [Spot(number, np.zeros((0, 2)), mask) for number, mask in enumerate(masks, start=1)]
    told = tuple(
        patch for spot in spots for patch in persisting_patches(history, surface, spot, settings, plane=last.plane)
    )
    shown = [_at_size(_whole(patch, surface), truth.persisting.shape) for patch in told]
    patches = list(_patches(truth))
    covers = [[mask[patch].mean() for patch, _ in patches] for mask in shown]
    return Followed(
        told=told,
        right=np.array([(truth.persisting[mask] > 0).mean() for mask in shown], np.float64),
        covers=np.array(covers, np.float64).reshape(len(told), len(patches)),
        areas_mm2=np.array([area for _, area in patches], np.float64),
        clean=not truth.persisting.any(),
    )


def measure(folder: Path, look: Look, align: Align, settings: Settings) -> tuple[FollowTally, dict[str, Figure]]:
    """Follow all sequences of a folder; returns the counts, and the measures with bootstrap intervals over sequences."""
    tallies = [follow_sequence(one, look, align, settings).tally() for one in read_sequences(folder)]
    return total(tallies), figures(tallies, MEASURES)


def curve(folder: Path, look: Look, align: Align, settings: Settings) -> dict[float, dict[str, Figure]]:
    """Return the measures of a folder at each ``sure_probability`` of `CURVE`; every sequence is followed once."""
    rule = FollowSettings(**{**settings.follow.model_dump(), "sure_probability": min(CURVE)})
    loose = settings.model_copy(update={"follow": rule})
    followed = [follow_sequence(one, look, align, loose) for one in read_sequences(folder)]
    return {sure: figures([one.tally(sure) for one in followed], MEASURES) for sure in CURVE}


def least_sure(by_sure: dict[float, dict[str, Figure]]) -> float | None:
    """Return the least ``sure_probability`` of a curve with which no more than `MOST_FALSE` are false, None without any."""
    few = [sure for sure, told in by_sure.items() if told["false persisting patches a sequence"].value <= MOST_FALSE]
    return min(few, default=None)


def _share(part: Any, whole: Any) -> Any:
    return np.divide(part, whole, out=np.full(np.shape(part), np.nan), where=np.asarray(whole) > 0)


def _patches(truth: SequenceTruth) -> Iterator[tuple[NDArray[np.bool_], float]]:
    """Give the true patches of which at least 3 mm2 is in view, and half of that in an earlier pass, with that area."""
    last = truth.passes[-1]
    for label in np.setdiff1d(np.unique(truth.persisting), (0, _SMALLER)):
        patch = truth.persisting == label
        rows, columns = np.nonzero(patch)
        scale = last.plane.mm_per_px(float(columns.mean()), float(rows.mean()))
        area = len(rows) * scale**2
        if area >= _LEAST_MM2 and any(_in_view(patch, last, one) for one in truth.passes[:-1]):
            yield patch, area


def _in_view(patch: NDArray[np.bool_], last: KnownView, earlier: KnownView) -> bool:
    rows, columns = np.nonzero(patch)
    points = np.column_stack([columns, rows]).astype(np.float64)[None]
    x, y = cv2.perspectiveTransform(points, np.linalg.inv(true_align(last, earlier).matrix))[0].T
    height, width = earlier.states.shape
    return bool(((x >= 0) & (x < width) & (y >= 0) & (y < height)).mean() >= 0.5)


def _whole(patch: PersistingPatch, surface: SurfaceMap) -> NDArray[np.bool_]:
    (x, y), (height, width) = patch.corner, patch.inside.shape
    mask = np.zeros(surface.states.shape, bool)
    mask[y : y + height, x : x + width] = patch.inside
    return mask


def _at_size(mask: NDArray[np.bool_], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    return cv2.resize(mask.astype(np.uint8), shape[::-1], interpolation=cv2.INTER_NEAREST_EXACT) > 0


def main(arguments: list[str] | None = None) -> int:
    """Measure a folder and print the figures; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m prepcheck.evaluate.sequences", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--model", help="look with this model (`default` for the registry's); else with the true maps")
    parser.add_argument("--align", action="store_true", help="find how the photos lie; else with the true cameras")
    parser.add_argument("--shake", type=float, default=0.0, help="error of the alignment, px at a long side of 1280")
    parser.add_argument(
        "--curve", action="store_true", help="figures by `sure_probability`; choose on no folder that reports"
    )
    options = parser.parse_args(arguments)
    settings = Settings()
    name = None if options.model == "default" else options.model
    look = true_look if options.model is None else model_look(load_model(name), settings)
    align = found_align(settings) if options.align else shaken(options.shake) if options.shake else true_align
    if options.curve:
        by_sure = curve(options.folder, look, align, settings)
        lines = [f"sure from {sure:g}\n{_table(told)}" for sure, told in by_sure.items()]
        lines.append(f"least with at most {MOST_FALSE:g} false a sequence: {least_sure(by_sure)}")
    else:
        summed, told = measure(options.folder, look, align, settings)
        lines = [_table(told), json.dumps(summed.as_dict())]
    sys.stdout.write("\n".join(lines) + "\n")
    return 0


def _table(told: dict[str, Figure]) -> str:
    return "\n".join(f"{name:45} {one.value:.3f} ({one.low:.3f} to {one.high:.3f})" for name, one in told.items())


if __name__ == "__main__":
    sys.exit(main())
