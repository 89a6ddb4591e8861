"""A person's mark beside another answer, the tool's or the known truth: where both see residue, and where only one does."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.inspection import Inspection
from prepcheck.photo import Photo
from prepcheck.practice.mark import RESIDUE as MARKED
from prepcheck.practice.mark import UNSURE, Mark
from prepcheck.surface import SurfaceMap
from prepcheck.terms import RESIDUE, State

LEAST_MM2 = 3.0
"""Smaller patches are not counted, as in the measures of the design (section 4)."""
LEAST_SHARE = 0.001
"""Of the ground area, below which a patch is not counted where no scale is known; common practice, no source."""
FOUND, OFF = 0.25, 0.5
"""A patch is found when at least a quarter of it is marked; a marked one is off when less than half of it lies on
residue (design, section 4)."""

Mask = NDArray[np.bool_]
Whose = Literal["marked", "other"]


@dataclass(frozen=True, eq=False)
class Answer:
    """What is held against a mark, at the size (h, w) of the tool's map.

    Parameters
    ----------
    against : {"tool", "truth"}
        Whose answer it is.
    residue, unsure, ground : ndarray, shape (h, w), bool
        Residue; where it gives no answer; the ground area in which both are compared.
    """

    against: Literal["tool", "truth"]
    residue: Mask = field(repr=False)
    unsure: Mask = field(repr=False)
    ground: Mask = field(repr=False)


@dataclass(frozen=True)
class Patch:
    """One connected place.

    Parameters
    ----------
    whose : {"marked", "other"}
        On whose side it is residue.
    at : tuple of float
        (x, y) of a pixel in it, near its middle, in pixels of the upright full photo.
    px : int
        Its area in pixels of the map.
    covered : float
        Share of it that is residue on the other side too.
    """

    whose: Whose
    at: tuple[float, float]
    px: int
    covered: float

    @property
    def missed(self) -> bool:
        """Whether the other side has not found it, or it is off."""
        return self.covered < (FOUND if self.whose == "other" else OFF)


@dataclass(frozen=True, eq=False)
class Difference:
    """A mark beside an answer.

    Parameters
    ----------
    against : {"tool", "truth"}
        Beside whose answer.
    both, only_marked, only_other, unsure : ndarray, shape (h, w), bool
        Inside the ground area: residue for both, for one of them, and where one of them is not sure.
    neither_sure : ndarray, shape (h, w), bool
        The part of `unsure` where both are not sure.
    outside : ndarray, shape (h, w), bool
        Marked, but outside the ground area; compared with nothing.
    ground : int
        Pixels of the ground area, without burnt-out ones.
    patches : tuple of Patch
        Of both sides, the largest first.
    mm2_per_px : float or None
        Mean over the ground area; None where no scale is known.
    least_px : float
        Smaller patches are not counted.
    """

    against: Literal["tool", "truth"]
    both: Mask = field(repr=False)
    only_marked: Mask = field(repr=False)
    only_other: Mask = field(repr=False)
    unsure: Mask = field(repr=False)
    neither_sure: Mask = field(repr=False)
    outside: Mask = field(repr=False)
    ground: int
    patches: tuple[Patch, ...] = field(repr=False)
    mm2_per_px: float | None
    least_px: float

    @property
    def neither(self) -> int:
        """Pixels of the ground area in which neither sees residue and both are sure."""
        return self.ground - sum(map(_count, (self.both, self.only_marked, self.only_other, self.unsure)))

    def of(self, whose: Whose) -> tuple[Patch, ...]:
        """Return the patches of one side."""
        return tuple(patch for patch in self.patches if patch.whose == whose)


def of_tool(inspection: Inspection) -> Answer:
    """Return the tool's answer: residue inside the outlines that it drew itself."""
    states = inspection.surface.states
    ground = np.zeros(states.shape, bool)
    for spot, _ in inspection.answer.spots:
        ground |= spot.mask
    return Answer("tool", np.isin(states, RESIDUE) & ground, (states == State.CANNOT_TELL) & ground, ground)


def of_truth(states: NDArray[np.uint8], ground: NDArray[np.uint8], shape: tuple[int, int]) -> Answer:
    """Return the known truth of a rendered photo: its states and its ground area (255 inside) at the size of a map."""
    laid, inside = _at(states, shape), _at(ground, shape) > 0
    return Answer("truth", np.isin(laid, RESIDUE) & inside, (laid == State.CANNOT_TELL) & inside, inside)


def differ(mark: Mark, answer: Answer, photo: Photo, surface: SurfaceMap) -> Difference:
    """Hold a mark against an answer; burnt-out pixels are left out of everything.

    Patches of the answer count whole, also where the mark is not sure; patches of the mark without what lies where the
    answer is not sure.

    Parameters
    ----------
    mark : ndarray, shape (h, w), uint8
        Of the photo's raster.
    answer : Answer
        At the size of the map.
    photo : Photo
        With its plane, where a scale is known.
    surface : SurfaceMap
        The tool's map of the photo: its size, scale and burnt-out pixels.
    """
    laid = _at(mark, surface.states.shape)
    ground = answer.ground & ~surface.burnt
    marked, doubt = (laid == MARKED), (laid == UNSURE)
    unsure = (doubt | answer.unsure) & ground
    sure = ground & ~unsure
    scale = _mm2_per_px(photo, surface, ground)
    least = LEAST_SHARE * _count(ground) if scale is None else LEAST_MM2 / scale
    return Difference(
        answer.against,
        both=marked & answer.residue & sure,
        only_marked=marked & ~answer.residue & sure,
        only_other=~marked & answer.residue & sure,
        unsure=unsure,
        neither_sure=doubt & answer.unsure & ground,
        outside=marked & ~answer.ground,
        ground=_count(ground),
        patches=_patches(marked & ground & ~answer.unsure, answer.residue & ground, surface, least),
        mm2_per_px=scale,
        least_px=least,
    )


def _at(plane: NDArray[np.uint8], shape: tuple[int, ...]) -> NDArray[np.uint8]:
    return np.asarray(cv2.resize(plane, shape[1::-1], interpolation=cv2.INTER_NEAREST_EXACT), np.uint8)


def _mm2_per_px(photo: Photo, surface: SurfaceMap, ground: Mask) -> float | None:
    """Return the mean area of a map pixel over the ground area."""
    if photo.plane is None or not ground.any():
        return None
    places = surface.to_full(np.argwhere(ground)[:, ::-1].astype(np.float64))
    return float(photo.plane.areas(places).mean()) * surface.reduction[0] * surface.reduction[1]


def _patches(marked: Mask, other: Mask, surface: SurfaceMap, least: float) -> tuple[Patch, ...]:
    found = [*_of(marked, other, "marked", surface, least), *_of(other, marked, "other", surface, least)]
    return tuple(sorted(found, key=lambda patch: (-patch.px, patch.at)))


def _of(side: Mask, by: Mask, whose: Whose, surface: SurfaceMap, least: float) -> list[Patch]:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(side.astype(np.uint8), connectivity=8)
    hit = np.bincount(labels.ravel(), weights=by.ravel(), minlength=count)
    large = [at for at in range(1, count) if stats[at, cv2.CC_STAT_AREA] >= least]
    return [_patch(at, labels, int(stats[at, cv2.CC_STAT_AREA]), float(hit[at]), whose, surface) for at in large]


def _patch(at: int, labels: cv2.typing.MatLike, px: int, hit: float, whose: Whose, surface: SurfaceMap) -> Patch:
    inside = np.argwhere(labels == at)[:, ::-1].astype(np.float64)
    nearest = inside[np.linalg.norm(inside - inside.mean(axis=0), axis=1).argmin()]
    x, y = surface.to_full(nearest[None])[0].round(1).tolist()
    return Patch(whose, (x, y), px, hit / px)


def _count(mask: Mask) -> int:
    return int(np.count_nonzero(mask))
