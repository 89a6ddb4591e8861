"""``/practice/{session}/{photo}``: mark a photo with a finger before any answer is shown, then see the difference."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import Field, TypeAdapter, ValidationError

from prepcheck.errors import PrepcheckError, UnknownRecord, WrongUse
from prepcheck.photo import Photo
from prepcheck.practice import Difference, Layer, Stroke, draw, painted
from prepcheck.practice.own_error import own_error
from prepcheck.practice.words import ORIGIN, WHO, area_rows, ground_words, patch_lines, patch_words, unfit_words
from prepcheck.tasks.practice import Session, Shown, mark_practice
from prepcheck.web.asked import Body, Line
from prepcheck.web.pages.desk import AtDesk
from prepcheck.web.pages.practice_room import (
    THUMB_PX,
    own_session,
    photo_of,
    picture,
    picture_answer,
    room_of,
    shown_photo,
)
from prepcheck.web.pages.render import show
from prepcheck.web.pictures import png
from prepcheck.web.shop import Shop, TheShop

router = APIRouter()
MOST_STROKES, MOST_PLACES = 2_000, 20_000
_MOST_PATCHES = 12
_LONG, _LONGEST = 1280, 2000
Beside = Literal["truth", "tool"]
ShownLayer = Literal["difference", "marked", "other", "none"]
_LAYERS: tuple[tuple[ShownLayer, str], ...] = (
    ("difference", "All"),
    ("marked", "Yours"),
    ("other", "Other"),
    ("none", "Photo"),
)
_KEY = (
    ("both", "residue for both", "difference"),
    ("only-marked", "only for you", "difference"),
    ("only-other", "only for {other}", "difference"),
    ("not-sure", "one of them not sure", "difference"),
    ("only-marked", "marked by you", "marked"),
    ("only-other", "residue for {other}", "other"),
)
"""Patterns, what they mean, and in which layer."""


class Drawn(Body):
    """One stroke as the page sends it: `width` in pixels of the full photo, None for a line round a place."""

    kind: Literal["residue", "unsure", "nothing"]
    width: Annotated[float, Field(gt=0, le=100_000, allow_inf_nan=False)] | None
    points: Annotated[Line, Field(min_length=1)]


_STROKES: TypeAdapter[list[Drawn]] = TypeAdapter(Annotated[list[Drawn], Field(max_length=MOST_STROKES)])


@dataclass(frozen=True)
class MarkPage:
    """The page on which a photo is marked."""

    session: int
    position: int
    of: int
    width: int
    height: int
    error: PrepcheckError | None = None

    @property
    def title(self) -> str:
        """Its name."""
        return f"Mark photo {self.position} of {self.of}"


@dataclass(frozen=True)
class Place:
    """A patch to jump to, in full-size pixels."""

    x: float
    y: float
    words: str


@dataclass(frozen=True)
class ShownPage:
    """The page on which a mark is held against an answer."""

    session: int
    position: int
    of: int
    name: str
    width: int
    height: int
    beside: Beside
    layer: ShownLayer
    has_truth: bool
    lines: tuple[str, ...]
    areas: tuple[tuple[str, str], ...]
    places: tuple[Place, ...]
    facts: tuple[tuple[str, str], ...]
    next: int | None
    key: tuple[tuple[str, str, str], ...]
    layers: tuple[tuple[str, str], ...] = _LAYERS

    @property
    def title(self) -> str:
        """Its name."""
        return f"Photo {self.position} of {self.of}: the difference"

    @property
    def other(self) -> str:
        """Whose answer stands beside the mark."""
        return WHO[self.beside]


@router.get("/practice/{number}/{position}")
def photo(
    request: Request,
    shop: TheShop,
    desk: AtDesk,
    number: int,
    position: int,
    beside: Beside = "truth",
    layer: Annotated[ShownLayer, Query(alias="show")] = "difference",
) -> HTMLResponse:
    """Show a photo: to be marked, or, once that is fixed, the difference."""
    found = own_session(room_of(shop), number, desk.person)
    if found.photo(position).sha256 not in found.marks:
        return show(request, "practice_mark.html", _mark_page(shop, found, position), desk.person)
    page = _shown_page(shop, found, position, beside, layer)
    return show(request, "practice_photo.html", page, desk.person)


@router.post("/practice/{number}/{position}/mark")
def mark(
    request: Request,
    shop: TheShop,
    desk: AtDesk,
    number: int,
    position: int,
    strokes: Annotated[str, Form(max_length=900_000)] = "",
    nothing: Annotated[str, Form(max_length=5)] = "",
) -> Response:
    """Fix the mark; from then on it stays, and the difference is shown."""
    room = room_of(shop)
    found = own_session(room, number, desk.person)
    if found.photo(position).sha256 in found.marks:  # sent twice, or opened again: the first one counts
        return RedirectResponse(f"/practice/{number}/{position}", 303)
    try:
        drawn, seen = _strokes(strokes, bool(nothing)), _photo(shop, found, position)
        made = painted(drawn, seen.rgb.shape[:2], seen.reduction)
        mark_practice(room, number, position, made, person=desk.person, at=desk.now)
    except PrepcheckError as error:
        page = _mark_page(shop, found, position, error)
        return show(request, "practice_mark.html", page, desk.person, error.http_status)
    return RedirectResponse(f"/practice/{number}/{position}", 303)


@router.get("/practice/{number}/{position}/photo.jpg")
def photo_picture(shop: TheShop, desk: AtDesk, number: int, position: int, long: int = _LONG) -> Response:
    """Return the photo at the size of a screen."""
    found = own_session(room_of(shop), number, desk.person)
    return picture_answer(picture(_photo(shop, found, position), min(max(long, THUMB_PX), _LONGEST)))


@router.get("/practice/{number}/{position}/{beside}/{layer}.png")
def layer_picture(shop: TheShop, desk: AtDesk, number: int, position: int, beside: Beside, layer: Layer) -> Response:
    """Return what is laid over the photo; nothing before it is marked."""
    found = own_session(room_of(shop), number, desk.person)
    drawn = draw(_beside(shown_photo(shop, found, position), beside), layer, _LONG)
    return picture_answer(png(drawn), "image/png")


def _mark_page(shop: Shop, found: Session, position: int, error: PrepcheckError | None = None) -> MarkPage:
    seen = _photo(shop, found, position)
    return MarkPage(found.number, position, len(found.photos), seen.width, seen.height, error)


def _shown_page(shop: Shop, found: Session, position: int, beside: Beside, layer: ShownLayer) -> ShownPage:
    shown = shown_photo(shop, found, position)
    against: Beside = "tool" if shown.truth is None else beside
    d, one = _beside(shown, against), found.photo(position)
    missed = [patch for patch in d.patches if patch.missed]
    return ShownPage(
        session=found.number,
        position=position,
        of=len(found.photos),
        name=one.name,
        width=shown.inspection.photo.width,
        height=shown.inspection.photo.height,
        beside=against,
        layer=layer,
        has_truth=shown.truth is not None,
        lines=(ORIGIN[against], *patch_lines(d), ground_words(d), *_unfit(against, shown)),
        areas=tuple(area_rows(d)),
        places=tuple(Place(*patch.at, patch_words(d, patch)) for patch in missed[:_MOST_PATCHES]),
        facts=_facts(found, position, shown),
        next=found.next,
        key=tuple((name, words.format(other=WHO[against]), of) for name, words, of in _KEY),
    )


def _unfit(against: Beside, shown: Shown) -> tuple[str, ...]:
    words = unfit_words(shown.inspection) if against == "tool" else ""
    return (words,) if words else ()


def _facts(found: Session, position: int, shown: Shown) -> tuple[tuple[str, str], ...]:
    origin = shown.inspection.origin
    rows = [("The tool's error", own_error(origin.model.sha256))]
    if shown.tool_beside_truth is not None:
        other, marked = shown.tool_beside_truth.of("other"), shown.tool_beside_truth.of("marked")
        hits, off = sum(not one.missed for one in other), sum(one.missed for one in marked)
        words = (
            f"it found {hits} of {len(other)} patches of the known truth; {off} of its {len(marked)} lie mostly off it"
        )
        rows.append(("The tool on this photo", words))
    mark = found.marks[found.photo(position).sha256]
    return (
        *rows,
        ("The tool", f"prepcheck {origin.version}, model {origin.model.name}"),
        ("Your mark", mark.mark_sha256),
    )


def _beside(shown: Shown, beside: Beside) -> Difference:
    if beside == "truth" and shown.truth is None:
        raise UnknownRecord("the truth of this photo is not known", "See it beside the tool's answer")
    return shown.truth if beside == "truth" and shown.truth is not None else shown.tool


def _photo(shop: Shop, found: Session, position: int) -> Photo:
    one = found.photo(position)
    return photo_of(room_of(shop), one.sha256, one.name)


def _strokes(text: str, nothing: bool) -> list[Stroke]:
    try:
        drawn = _STROKES.validate_json(text) if text else []
    except ValidationError as error:
        raise WrongUse("what was drawn cannot be used", "Draw it again") from error
    if sum(len(one.points) for one in drawn) > MOST_PLACES:
        raise WrongUse(f"more than {MOST_PLACES:,} places were drawn", "Mark with a broader brush or with loops")
    if nothing == bool(drawn):
        raise WrongUse("nothing was marked, or both was said", "Mark what you see, or say that you see no residue")
    return [Stroke(one.kind, one.width, np.array(one.points, np.float64)) for one in drawn]
