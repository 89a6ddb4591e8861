"""A spot's score and its standing by the standing rule."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np

from prepcheck.photo import Photo, Plane
from prepcheck.score.joint import Joint, JointLine, judge_sides, margin_of
from prepcheck.score.patch import Patch, find_patches, patch_mask, pixel_areas
from prepcheck.score.share import BrightShare, bright_share, state_shares
from prepcheck.score.unit_area import UnitArea, worst_unit_area
from prepcheck.settings import ScoreSettings
from prepcheck.spot import Spot
from prepcheck.surface import SurfaceMap
from prepcheck.terms import Standing, State

_ROUNDING = 1e-9
"""So that a share exactly at the limit is within it."""


@dataclass(frozen=True, eq=False)
class Score:
    """What was measured on one spot.

    Parameters
    ----------
    share : BrightShare
        Bright share of the readable area, with its interval.
    shares : dict of State to float
        Share of each state in the whole spot.
    area_px : float
        Area in full-size pixels.
    area_mm2, mm_per_px : float or None
        Area on the surface and local scale at the spot's centre; None without a scale.
    worst : UnitArea
        The worst unit area.
    patches : tuple of Patch
        Residue patches, longest first.
    standing : Standing
        By the standing rule.
    reason : str
        Why, in words.
    """

    share: BrightShare
    shares: dict[State, float]
    area_px: float
    area_mm2: float | None
    mm_per_px: float | None
    worst: UnitArea
    patches: tuple[Patch, ...] = field(repr=False)
    standing: Standing
    reason: str


def score_spot(
    spot: Spot, surface: SurfaceMap, photo: Photo, rule: ScoreSettings, joint: JointLine | None = None
) -> Score:
    """Score one spot; `joint` is the joint line, if one was drawn."""
    plane = photo.plane
    patches = find_patches(surface, spot.mask, plane, rule, joint)
    share = bright_share(surface, spot.mask)
    worst = worst_unit_area(surface, spot, share, plane, rule.unit_area_mm)
    standing, reason = stand(worst.share, patches, rule)
    return Score(
        share=share,
        shares=state_shares(surface, spot.mask),
        area_px=float(np.count_nonzero(spot.mask) * np.prod(surface.reduction)),
        area_mm2=None if plane is None else float(pixel_areas(surface, plane, spot.mask).sum()),
        mm_per_px=_scale_at_centre(spot, surface, plane),
        worst=worst,
        patches=patches,
        standing=standing,
        reason=reason,
    )


def judge_joint(
    line: JointLine, scored: Sequence[tuple[Spot, Score]], surface: SurfaceMap, photo: Photo, rule: ScoreSettings
) -> Joint:
    """Judge what lies at the joint line, over all spots of a photo.

    The margin's width is shop practice: it is shown and changes no standing. What touches the line does, in `stand`.
    """
    touching = tuple(patch for _, score in scored for patch in score.patches if patch.at_joint)
    if photo.plane is None:
        return Joint(line, None, (), touching)
    ground = np.zeros(surface.states.shape, bool)
    for spot, _ in scored:
        ground |= spot.mask
    sides = judge_sides(line, ground, patch_mask(surface, ground), surface, photo.plane, rule)
    return Joint(line, margin_of(line, rule), sides, touching)


def stand(share: BrightShare, patches: tuple[Patch, ...], rule: ScoreSettings) -> tuple[Standing, str]:
    """Apply the standing rule (design, section 3).

    Parameters
    ----------
    share : BrightShare
        Of the worst unit area.
    patches : tuple of Patch
        Residue patches of the spot.
    rule : ScoreSettings
        The limits.

    Returns
    -------
    standing, reason : Standing, str
    """
    limit = rule.residue_limit + _ROUNDING
    long = [patch for patch in patches if patch.long]
    sure = [patch for patch in long if patch.sure]
    at_joint = [patch for patch in patches if patch.at_joint]
    if sure:
        return Standing.RESIDUE_LEFT, f"a patch of {sure[0].state.label} is longer than {_patch_limit(sure[0], rule)}"
    if surely := [patch for patch in at_joint if patch.surely_at_joint]:
        return Standing.RESIDUE_LEFT, f"a patch of {surely[0].state.label} touches the joint line"
    if share.least_residue > limit:
        return (
            Standing.RESIDUE_LEFT,
            f"at least {share.least_residue:.0%} residue, the limit is {rule.residue_limit:.0%}",
        )
    if long:
        return Standing.CANNOT_TELL, f"a doubtful patch is longer than {_patch_limit(long[0], rule)}"
    if at_joint:
        return Standing.CANNOT_TELL, "a doubtful patch touches the joint line"
    if share.most_residue > limit:
        return (
            Standing.CANNOT_TELL,
            f"up to {share.most_residue:.0%} may be residue, the limit is {rule.residue_limit:.0%}",
        )
    return Standing.BRIGHT, f"at most {share.most_residue:.1%} residue, the limit is {rule.residue_limit:.0%}"


def _patch_limit(patch: Patch, rule: ScoreSettings) -> str:
    if patch.length_mm is not None:
        return f"{rule.patch_limit_mm:g} mm"
    return f"{rule.patch_limit_share:.0%} of the spot's width (no scale)"


def _scale_at_centre(spot: Spot, surface: SurfaceMap, plane: Plane | None) -> float | None:
    if plane is None:
        return None
    sums = cv2.moments(spot.mask.view(np.uint8), binaryImage=True)
    centre = surface.to_full(np.array([[sums["m10"], sums["m01"]]]) / sums["m00"])[0]
    return plane.mm_per_px(float(centre[0]), float(centre[1]))
