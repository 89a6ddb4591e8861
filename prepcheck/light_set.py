"""The chain from the photos of a moved-light set to one answer in the frame of the first. Pure, like `inspection`."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np

from prepcheck.inspection import (
    Answer,
    Inspection,
    Member,
    MovedLight,
    Outlines,
    Seen,
    conclude,
    inspect,
    raised,
    see,
    worst_standing,
)
from prepcheck.photo import Flag, Photo, Plane
from prepcheck.photo.align import NotAligned, Ready, align, ready
from prepcheck.score import Score
from prepcheck.settings import Settings
from prepcheck.spot import Spot
from prepcheck.surface import Model
from prepcheck.surface.moved_light import MOST_PHOTOS, Fused, fuse
from prepcheck.terms import FLAGS, Standing

__all__ = ["MOST_PHOTOS", "inspect_photos", "inspect_set"]

_SCALE_FLAGS = ("no_scale", "doubtful_scale")
_AT_ONCE = 2
"""Photos looked at at one time: each holds some 100 MB while it is, and two keep the cores of a small computer busy."""


@dataclass(frozen=True, eq=False)
class _Other:
    """A photo of a set but the first, and what was seen in it; None for one left out."""

    member: Member
    seen: Seen | None = field(default=None, repr=False)


def inspect_photos(
    photos: Sequence[Photo],
    model: Model,
    settings: Settings,
    *,
    stated_mm_per_px: float | None = None,
    outlines: Outlines | None = None,
) -> Inspection:
    """Inspect one photo, or several of one view under a moved light as one; see `inspect` and `inspect_set`."""
    if len(photos) == 1:
        return inspect(photos[0], model, settings, stated_mm_per_px=stated_mm_per_px, outlines=outlines)
    return inspect_set(photos, model, settings, stated_mm_per_px=stated_mm_per_px, outlines=outlines)


def inspect_set(
    photos: Sequence[Photo],
    model: Model,
    settings: Settings,
    *,
    stated_mm_per_px: float | None = None,
    outlines: Outlines | None = None,
) -> Inspection:
    """Inspect photos of one view under a moved light as one.

    A photo that is unfit, the same as another, or does not lie on the first one is left out and told. Where only the
    first is left, or the light hardly moved, no standing is better than the first photo's own; in the former case none is
    ``bright``.

    Parameters
    ----------
    photos : sequence of Photo
        Two to six, as read, without scale; the answer lies in the frame of the first.
    model, settings
        As in `prepcheck.inspection.inspect`.
    stated_mm_per_px : float, optional
        A scale that the person states for the first photo.
    outlines : Outlines, optional
        Drawn in the first photo, or refused of the spots of the set.

    Raises
    ------
    ValueError
        There are fewer than two or more than six photos.
    BadOutlines
        As in `prepcheck.inspection.inspect`.
    """
    if not 2 <= len(photos) <= MOST_PHOTOS:
        raise ValueError(f"{len(photos)} photos are no set")
    first = see(photos[0], model, settings, stated_mm_per_px)
    others = _others(first, photos, model, settings)
    members = (Member(first.photo, first.flags), *(other.member for other in others))
    alone = conclude(first, model, settings).answer
    used = [other.member for other in others if not other.member.left_out]
    seen = [other.seen for other in others if other.seen is not None]
    first = _with_scale_of(first, seen, used)
    fused = _fused(first, seen, used, settings)
    whole = first if fused is None else replace(first, surface=fused.surface)
    whole = replace(whole, flags=(*whole.flags, *_set_flags(members, fused, settings)))
    limit = None if fused is not None and fused.enough else alone
    told = _limited(conclude(whole, model, settings, outlines), limit, fused is None)
    return replace(told, moved_light=_behind(members, fused, alone))


def _others(first: Seen, photos: Sequence[Photo], model: Model, settings: Settings) -> list[_Other]:
    """Look at all photos but the first, and lay them on it."""
    base = _ready(first, settings)

    def looked_at(number: int) -> _Other:
        photo = photos[number]
        same = next((other for other in photos[:number] if _same(other, photo)), None)
        return _other(base, photo, model, settings) if same is None else _Other(_copy(photo, same))

    with ThreadPoolExecutor(_AT_ONCE) as pool:
        return list(pool.map(looked_at, range(1, len(photos))))


def _ready(seen: Seen, settings: Settings) -> Ready:
    return ready(seen.photo, settings, find=None if seen.card is None else "look")


def _same(one: Photo, other: Photo) -> bool:
    """Say whether two photos are one to the byte; frames of a clip share its bytes, not their pixels."""
    return one.sha256 == other.sha256 and np.array_equal(one.rgb, other.rgb)


def _copy(photo: Photo, same: Photo) -> Member:
    return Member(photo, (), left_out=f"the same photo as {same.name}, to the byte")


def _other(base: Ready, photo: Photo, model: Model, settings: Settings) -> _Other:
    seen = see(photo, model, settings)
    flags = tuple(flag for flag in seen.flags if flag.code not in _SCALE_FLAGS)
    if blocking := [flag for flag in flags if flag.blocking]:
        return _Other(
            Member(photo, flags, left_out="; ".join(f"{FLAGS[f.code].name} ({f.measured})" for f in blocking))
        )
    found = align(base, _ready(seen, settings), settings)
    if isinstance(found, NotAligned):
        return _Other(Member(photo, flags, left_out=found.reason))
    return _Other(Member(photo, flags, found), seen)


def _with_scale_of(first: Seen, others: list[Seen], used: list[Member]) -> Seen:
    """Give the first photo the scale of another one that shows the card, where it has none itself."""
    if first.photo.plane is not None:
        return first
    for seen, member in zip(others, used, strict=True):
        if seen.photo.plane is not None and member.alignment is not None:
            to_mm = seen.photo.plane.to_mm @ np.linalg.inv(member.alignment.matrix)
            plane = Plane(to_mm, seen.photo.plane.relative_error, seen.photo.plane.source)
            flags = tuple(flag for flag in first.flags if flag.code not in _SCALE_FLAGS)
            return replace(first, photo=replace(first.photo, plane=plane), flags=flags)
    return first


def _fused(first: Seen, others: list[Seen], used: list[Member], settings: Settings) -> Fused | None:
    if not used:
        return None
    all_seen = [first, *others]
    alignments = [member.alignment for member in used if member.alignment is not None]
    return fuse([one.photo for one in all_seen], [one.surface for one in all_seen], alignments, settings)


def _set_flags(members: tuple[Member, ...], fused: Fused | None, settings: Settings) -> list[Flag]:
    flags = []
    if left := [f"{member.photo.name}: {member.left_out}" for member in members if member.left_out]:
        flags.append(raised("photo_left_out", "; ".join(left)))
    if fused is None:
        flags.append(raised("set_of_one", f"1 of {len(members)} photos used"))
    elif not fused.enough:
        least = settings.moved_light.least_moved
        flags.append(raised("light_hardly_moved", f"moved by {fused.moved:.3f}, at least {least:.3f} needed"))
    if fit := _fit_instead(members):
        flags.append(raised("first_photo_unfit", f"fit: {', '.join(fit)}"))
    fired = [member.photo for member in members if not member.left_out and member.photo.flash]
    if fired and any(not member.left_out and member.photo.flash is False for member in members):
        flags.append(raised("mixed_flash", f"fired in {', '.join(photo.name for photo in fired)}"))
    return flags


def _unfit(member: Member) -> bool:
    return any(flag.blocking for flag in member.flags)


def _fit_instead(members: tuple[Member, ...]) -> list[str]:
    """Name the photos that are fit to be judged where the first is not: those of the same view, where any lie on it."""
    first, *others = members
    if not _unfit(first):
        return []
    fit = [member for member in others if not _unfit(member) and not _same(member.photo, first.photo)]
    used = [member for member in fit if not member.left_out]
    return [member.photo.name for member in used or fit]


def _limited(told: Inspection, alone: Answer | None, only_one: bool) -> Inspection:
    """Let no standing be better than that of the first photo alone, nor ``bright`` when `only_one` photo was used."""
    if alone is None:
        return told
    by_person = None if told.by_person is None else _limited_answer(told.by_person, alone, only_one)
    return replace(told, answer=_limited_answer(told.answer, alone, only_one), by_person=by_person)


def _limited_answer(answer: Answer, alone: Answer, only_one: bool) -> Answer:
    spots = tuple((spot, _limited_score(spot, score, alone, only_one)) for spot, score in answer.spots)
    return Answer(spots, answer.share, worst_standing([answer.standing, *(score.standing for _, score in spots)]))


def _limited_score(spot: Spot, score: Score, alone: Answer, only_one: bool) -> Score:
    limit = Standing.CANNOT_TELL if only_one else _alone_there(spot, alone)
    worst = worst_standing([score.standing, limit])
    if worst is score.standing:
        return score
    moved = f"the light hardly moved, and the first photo alone says {worst}"
    return replace(score, standing=worst, reason="only one photo of the set could be used" if only_one else moved)


def _alone_there(spot: Spot, alone: Answer) -> Standing:
    """Return the worst standing of the first photo's own spots that `spot` lies on; its standing as a whole off them."""
    there = [score.standing for other, score in alone.spots if (other.mask & spot.mask).any()]
    return worst_standing(there) if there else alone.standing


def _behind(members: tuple[Member, ...], fused: Fused | None, alone: Answer) -> MovedLight:
    advice = _advice(members, fused)
    if fused is None:
        return MovedLight(members, None, False, advice, "", alone)
    return MovedLight(members, fused.moved, fused.enough, advice, fused.learned, alone)


def _advice(members: tuple[Member, ...], fused: Fused | None) -> str:
    """Say where to put the torch next; nothing where the first photo has to be taken again, for which flags say what to do."""
    if _unfit(members[0]):
        return ""
    if fused is None:
        return "Take the photos again from one place: only the torch moves, the phone and the part stay."
    return fused.advice
