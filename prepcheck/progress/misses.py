"""What was left on a spot, and where: the state and the place of its largest patch of residue. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel

from prepcheck.record import JointRecord, PatchRecord, Point, Record, SpotRecord
from prepcheck.settings import ProgressSettings
from prepcheck.terms import RESIDUE, State

KINDS = {state.key: state for state in RESIDUE}


class Place(StrEnum):
    """Where in a spot a patch lies; the first that holds counts."""

    JOINT = "along the joint line"
    RIM = "at the rim"
    MIDDLE = "away from the rim"
    SPREAD = "in many small places"


@dataclass(frozen=True)
class Miss:
    """What was left on a spot.

    Parameters
    ----------
    state : State
        Of the largest patch; without a patch, the residue with the largest share of the spot.
    place : Place
        Of that patch; `Place.SPREAD` without one.
    length_mm : float or None
        Of that patch, where a scale is known.
    share : float
        Longest side of the patch as a share of the spot's width, 0 without a patch: to find the largest of all.
    side : str
        Side of the joint line as it lies in the photo; empty where none was drawn or the patch lies outside its margins.
    """

    state: State
    place: Place
    length_mm: float | None = None
    share: float = 0.0
    side: str = ""


class _Spot(BaseModel):
    number: int
    outline: list[Point]
    mm_per_px: float | None
    shares: dict[str, float]
    largest_patch: PatchRecord | None


class _Spots(BaseModel):
    spots: list[_Spot] = []
    joint: JointRecord | None = None


class _Origin(BaseModel):
    model_sha256: str
    shop_fit: str | None = None


class Answer(_Spots):
    """As much of a `Record` as is asked here: of many answers the rest takes most of the time to read."""

    by_person: _Spots | None = None
    origin: _Origin


def miss_of(record: Answer | Record, outline: int | None, settings: ProgressSettings) -> Miss | None:
    """Return what was left on the spot with the number `outline` of an answer; None where nothing was, or no such spot."""
    answer = record if record.by_person is None else record.by_person
    spots: Sequence[_Spot | SpotRecord] = answer.spots
    spot = next((one for one in spots if one.number == outline), None)
    if spot is None:
        return None
    if spot.largest_patch is None:
        return _spread(spot)
    patch, joint = spot.largest_patch, answer.joint
    width = _width(spot)
    place = _place(spot, patch, joint, _rim(spot, width, settings))
    return Miss(KINDS[patch.state], place, patch.length_mm, patch.length_px / width, _side(patch, joint))


def _spread(spot: _Spot | SpotRecord) -> Miss | None:
    left = {state: spot.shares.get(key, 0.0) for key, state in KINDS.items()}
    worst = max(left, key=lambda state: left[state])
    return Miss(worst, Place.SPREAD) if left[worst] > 0 else None


def _place(spot: _Spot | SpotRecord, patch: PatchRecord, joint: JointRecord | None, near: float) -> Place:
    """Measured from the patch's edge: `at` is its innermost point, half its mean width away from that edge."""
    reach = near + patch.area_px / max(patch.length_px, 1.0) / 2
    if joint is not None and (patch in joint.touching or _from_line(patch.at, joint.line) <= reach):
        return Place.JOINT
    return Place.RIM if _from_rim(patch.at, spot.outline) <= reach else Place.MIDDLE


def _rim(spot: _Spot | SpotRecord, width: float, settings: ProgressSettings) -> float:
    """Return how far the rim reaches into a spot, in pixels."""
    return settings.rim_share * width if spot.mm_per_px is None else settings.rim_mm / spot.mm_per_px


def _width(spot: _Spot | SpotRecord) -> float:
    """Return the side of the square of the same area as the box around the spot, in pixels; at least 1."""
    if not spot.outline:
        return 1.0
    xs, ys = zip(*spot.outline, strict=True)
    return max(math.sqrt((max(xs) - min(xs)) * (max(ys) - min(ys))), 1.0)


def _from_rim(at: Point, outline: list[Point]) -> float:
    """Return the distance from the rim in pixels, 0 outside."""
    return max(cv2.pointPolygonTest(_polygon(outline), at, True), 0.0) if len(outline) >= 3 else 0.0


def _from_line(at: Point, line: list[Point]) -> float:
    """Return the distance from a line of straight pieces in pixels."""
    there_and_back = [*line, *line[::-1]]
    return abs(cv2.pointPolygonTest(_polygon(there_and_back), at, True))


def _side(patch: PatchRecord, joint: JointRecord | None) -> str:
    sides = [] if joint is None else [one for one in joint.sides if len(one.outline) >= 3]
    return next((one.name for one in sides if cv2.pointPolygonTest(_polygon(one.outline), patch.at, False) >= 0), "")


def _polygon(points: list[Point]) -> NDArray[np.float32]:
    return np.asarray(points, np.float32).reshape(-1, 1, 2)
