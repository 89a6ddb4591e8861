"""The whole chain from a photo to its standing. Pure: no file, clock, network or store."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck import __version__
from prepcheck.errors import BadOutlines
from prepcheck.photo import Flag, Photo, photo_flags, spot_flags, with_scale
from prepcheck.score import BrightShare, Joint, JointLine, Score, bright_share, judge_joint, score_spot
from prepcheck.settings import Settings
from prepcheck.spot import NoSpot, Spot, drawn_spots, find_spots, touches_edge
from prepcheck.surface import Model, ModelOrigin, SurfaceMap, map_surface
from prepcheck.terms import FLAGS, WORST_FIRST, Standing, State

if TYPE_CHECKING:
    from prepcheck.photo.align import Alignment

_SPECK = np.ones((3, 3), np.uint8)
"""A drawn outline that holds no square of map pixels of this size holds nothing to judge."""

MOST_MARGIN_MM = 500
"""Beside the joint line; as much as the setting allows."""
Outline = NDArray[np.float64]
_BESIDE = 0.01
"""How far from the card, as a share of the picture's long side, the part it lies on is looked for."""


@dataclass(frozen=True)
class Outlines:
    """What a person says about the outlines.

    Parameters
    ----------
    drawn : tuple of ndarray, shape (n, 2), float64
        Outlines drawn by hand, (x, y) in full-size pixels.
    refused : dict of int to str
        Numbers of the tool's spots that are refused, each with the reason.
    joint : JointLine or None
        The joint line, which judges the tool's own spots too: it is no opinion on them.
    """

    drawn: tuple[NDArray[np.float64], ...] = ()
    refused: dict[int, str] = field(default_factory=dict)
    joint: JointLine | None = None

    @property
    def only_joint(self) -> bool:
        """Whether nothing is said about the tool's outlines themselves."""
        return self.joint is not None and not self.drawn and not self.refused


@dataclass(frozen=True)
class Origin:
    """Where an answer comes from: enough to make it again."""

    version: str
    model: ModelOrigin
    settings_sha256: str
    photo_sha256: str


@dataclass(frozen=True, eq=False)
class Seen:
    """A photo with its scale, the flags it has before its spots are known, its map, and the outline of a scale card."""

    photo: Photo
    flags: tuple[Flag, ...]
    surface: SurfaceMap = field(repr=False)
    card: Outline | None = field(default=None, repr=False)


@dataclass(frozen=True, eq=False)
class Answer:
    """Spots with their scores, the share over all of them, the worst of their standings, and the joint if one was drawn."""

    spots: tuple[tuple[Spot, Score], ...]
    share: BrightShare | None
    standing: Standing
    joint: Joint | None = None


@dataclass(frozen=True, eq=False)
class Member:
    """One photo of a moved-light set.

    Parameters
    ----------
    photo : Photo
        The photo.
    flags : tuple of Flag
        Its own.
    alignment : Alignment or None
        How it lies on the first photo; None for the first itself and for one left out.
    left_out : str
        Why it was left out, in words; empty when it was used.
    """

    photo: Photo
    flags: tuple[Flag, ...]
    alignment: Alignment | None = None
    left_out: str = ""


@dataclass(frozen=True, eq=False)
class MovedLight:
    """What lies behind the answer for a moved-light set.

    Parameters
    ----------
    members : tuple of Member
        All photos in the order given, the first one first.
    moved, enough, advice, learned
        As in `prepcheck.surface.moved_light.Fused`; `moved` is None when nothing was fused.
    alone : Answer
        The answer for the first photo alone.
    """

    members: tuple[Member, ...]
    moved: float | None
    enough: bool
    advice: str
    learned: str
    alone: Answer

    @property
    def used(self) -> tuple[Member, ...]:
        """The photos that the answer rests on."""
        return tuple(member for member in self.members if not member.left_out)


@dataclass(frozen=True, eq=False)
class Inspection:
    """What one photo or moved-light set shows, where, how sure, and where the answer comes from.

    Parameters
    ----------
    photo : Photo
        The photo, the first one of a set, with its plane, when a scale is known.
    flags : tuple of Flag
        Blocking ones first.
    surface : SurfaceMap
        What each pixel shows.
    answer : Answer
        The tool's own answer.
    by_person : Answer or None
        The answer with a person's outlines, beside the tool's own.
    refused : dict of int to str
        Numbers of the tool's spots that the person refused, with reasons.
    origin : Origin
        Program, model, settings and photo.
    moved_light : MovedLight or None
        For a moved-light set.
    """

    photo: Photo
    flags: tuple[Flag, ...]
    surface: SurfaceMap = field(repr=False)
    answer: Answer
    by_person: Answer | None
    refused: dict[int, str]
    origin: Origin
    moved_light: MovedLight | None = None

    @property
    def standing(self) -> Standing:
        """The tool's own standing of the photo."""
        return self.answer.standing


def inspect(
    photo: Photo,
    model: Model,
    settings: Settings,
    *,
    stated_mm_per_px: float | None = None,
    outlines: Outlines | None = None,
) -> Inspection:
    """Inspect one photo.

    Raises
    ------
    BadOutlines
        A drawn outline leaves the photo or holds next to nothing, or a refused number is none of the tool's.

    Parameters
    ----------
    photo : Photo
        As read, without scale.
    model : Model
        A loaded model.
    settings : Settings
        All thresholds.
    stated_mm_per_px : float, optional
        A scale that the person states, in mm per full-size pixel.
    outlines : Outlines, optional
        What a person drew or refused; scored beside the tool's own spots, never over them.

    Returns
    -------
    Inspection
        A photo that is unfit to be judged is a result too: its standing is ``retake``.
    """
    return conclude(see(photo, model, settings, stated_mm_per_px), model, settings, outlines)


def see(photo: Photo, model: Model, settings: Settings, stated_mm_per_px: float | None = None) -> Seen:
    """Look for the scale of a photo, flag what is unfit, and map its surface."""
    photo, scale_flags, find = with_scale(photo, settings, stated_mm_per_px)
    card = None if find is None else (find.outline + 0.5) * photo.reduction - 0.5
    surface = map_surface(photo, model, settings, card)
    return Seen(photo, (*photo_flags(photo, settings), *scale_flags), surface, card)


def conclude(seen: Seen, model: Model, settings: Settings, outlines: Outlines | None = None) -> Inspection:
    """Outline the spots in what was seen and score them; raises as `inspect`."""
    photo, surface = seen.photo, seen.surface
    joint = None if outlines is None else outlines.joint
    _check_joint(joint, surface, photo)
    found = find_spots(surface, settings)
    spots = () if isinstance(found, NoSpot) else found
    unused = [raised("shop_fit_not_used", model.unused_fit)] if model.unused_fit else []
    flags = _sorted([*seen.flags, *unused, *_spot_flags(found, photo, surface, seen.card, settings)])
    return Inspection(
        photo=photo,
        flags=flags,
        surface=surface,
        answer=_answer(spots, surface, photo, settings, flags, joint),
        by_person=None
        if outlines is None or outlines.only_joint
        else _by_person(outlines, spots, surface, photo, settings, flags),
        refused={} if outlines is None else outlines.refused,
        origin=Origin(__version__, model.origin, settings_sha256(settings, model), photo.sha256),
    )


def settings_sha256(settings: Settings, model: Model) -> str:
    """Return the SHA-256 (hex) of all settings and of the model's calibration, which stands in its card and in a shop's fit."""
    fit = model.origin.shop_fit
    calibration = (model.origin.sure, model.origin.error_scale, model.origin.error_floor)
    told = [settings.digest(), str(calibration), *([fit.sha256] if fit else []), *filter(None, [model.unused_fit])]
    return hashlib.sha256(" ".join(told).encode()).hexdigest()


def worst_standing(standings: list[Standing]) -> Standing:
    """Return the worst of `standings`, ``retake`` first; ``retake`` when there is none."""
    return min(standings, key=WORST_FIRST.index, default=Standing.RETAKE)


def _answer(
    spots: tuple[Spot, ...],
    surface: SurfaceMap,
    photo: Photo,
    settings: Settings,
    flags: tuple[Flag, ...],
    line: JointLine | None = None,
) -> Answer:
    scored = tuple((spot, score_spot(spot, surface, photo, settings.score, line)) for spot in spots)
    if not scored:
        return Answer((), None, Standing.RETAKE, None if line is None else Joint(line, None, (), ()))
    everywhere = np.logical_or.reduce([spot.mask for spot in spots])
    blocked = any(flag.blocking for flag in flags)
    standing = Standing.RETAKE if blocked else worst_standing([score.standing for _, score in scored])
    joint = None if line is None else judge_joint(line, scored, surface, photo, settings.score)
    return Answer(scored, bright_share(surface, everywhere), standing, joint)


def _by_person(
    outlines: Outlines,
    spots: tuple[Spot, ...],
    surface: SurfaceMap,
    photo: Photo,
    settings: Settings,
    flags: tuple[Flag, ...],
) -> Answer:
    _check(outlines, spots, photo)
    kept = tuple(spot for spot in spots if spot.number not in outlines.refused)
    drawn = drawn_spots(list(outlines.drawn), surface, first=len(spots) + 1)
    if empty := [str(spot.number) for spot in drawn if not cv2.erode(spot.mask.astype(np.uint8), _SPECK).any()]:
        raise BadOutlines(f"drawn outline {', '.join(empty)} holds next to nothing", "Draw it larger", photo.name)
    own = tuple(flag for flag in flags if not (drawn and flag.code == "no_spot"))
    return _answer((*kept, *drawn), surface, photo, settings, own, outlines.joint)


def _check(outlines: Outlines, spots: tuple[Spot, ...], photo: Photo) -> None:
    size = np.array([photo.width, photo.height])
    if any((points < -1).any() or (points > size).any() for points in outlines.drawn):
        what = f"a drawn outline leaves the photo of {photo.width} x {photo.height} pixels"
        raise BadOutlines(what, "Draw it in pixels of the upright full-size photo", photo.name)
    if strange := sorted(outlines.refused.keys() - {spot.number for spot in spots}):
        what = f"has no outline {', '.join(map(str, strange))} to refuse, only {len(spots)} found"
        raise BadOutlines(what, "Refuse the numbers in the marked picture", photo.name)


def _check_joint(joint: JointLine | None, surface: SurfaceMap, photo: Photo) -> None:
    if joint is None:
        return
    if (joint.points < -1).any() or (joint.points > np.array([photo.width, photo.height])).any():
        what = f"the joint line leaves the photo of {photo.width} x {photo.height} pixels"
        raise BadOutlines(what, "Draw it in pixels of the upright full-size photo", photo.name)
    if joint.margin_mm is not None and not 1 <= joint.margin_mm <= MOST_MARGIN_MM:
        what = f"a margin of {joint.margin_mm:g} mm beside the joint line cannot be judged"
        raise BadOutlines(what, f"State 1 to {MOST_MARGIN_MM} mm", photo.name)
    if joint.is_dot(surface):
        raise BadOutlines(
            "the joint line is next to a dot", "Draw it from one end of the joint to the other", photo.name
        )


def _spot_flags(
    found: tuple[Spot, ...] | NoSpot, photo: Photo, surface: SurfaceMap, card: Outline | None, settings: Settings
) -> list[Flag]:
    if isinstance(found, NoSpot):
        return [raised("no_spot", found.reason)]
    everywhere = np.logical_or.reduce([spot.mask for spot in found])
    flags = list(spot_flags(photo, everywhere, settings))
    if surface.burnt[everywhere].mean() <= settings.fitness.burnt_share:  # other photos of a set show what was burnt
        flags = [flag for flag in flags if flag.code != "burnt_out"]
    if cut := [str(spot.number) for spot in found if touches_edge(spot)]:
        flags.append(raised("cut_off", f"spot {', '.join(cut)}"))
    if (share := float(everywhere.mean())) > settings.spot.most_share:
        flags.append(raised("fills_picture", f"{share:.0%} of the picture, limit {settings.spot.most_share:.0%}"))
    parts = _parts(found, surface)
    on = {int(parts[spot.mask][0]) for spot in found}
    if len(on) > 1:
        flags.append(raised("several_parts", f"spots on {len(on)} parts with background between them"))
    if card is not None and not on & _parts_beside(card, parts, surface):
        flags.append(raised("card_off_plane", "background lies between the card and every spot"))
    return flags


def _parts(spots: tuple[Spot, ...], surface: SurfaceMap) -> NDArray[np.int32]:
    """Number the parts, connected places that are not background; 0 is background."""
    part = (surface.states != State.BACKGROUND).astype(np.uint8)
    for spot in spots:
        part[spot.mask] = 1
    return np.asarray(cv2.connectedComponents(part)[1], np.int32)


def _parts_beside(card: Outline, parts: NDArray[np.int32], surface: SurfaceMap) -> set[int]:
    """Return the numbers of the parts that touch the card, a little beyond its edge."""
    mask = np.zeros(parts.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(surface.from_full(card)).astype(np.int32)], 1)
    reach = max(3, round(max(parts.shape) * _BESIDE))
    around = cv2.dilate(mask, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)) > mask
    return set(np.unique(parts[around]).tolist()) - {0}


def raised(code: str, measured: str) -> Flag:
    """Raise the flag `code` of the registry with what was measured."""
    return Flag(code, FLAGS[code].blocking, measured)


def _sorted(flags: list[Flag]) -> tuple[Flag, ...]:
    once = {flag.code: flag for flag in reversed(flags)}
    return tuple(sorted(once.values(), key=lambda flag: (not flag.blocking, flag.code)))
