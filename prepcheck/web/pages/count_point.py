"""``/count/{name}/{photo}``: one point at a time, each kept as soon as it is labelled."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import RedirectResponse, Response

from prepcheck.agreement.begun import Begun
from prepcheck.agreement.crosses import draw_point
from prepcheck.agreement.folder import read_count
from prepcheck.agreement.labels import write_label
from prepcheck.errors import PrepcheckError, WrongUse
from prepcheck.web.pages import count_folder as f
from prepcheck.web.pages.desk import AtDesk
from prepcheck.web.pages.practice_room import picture_answer
from prepcheck.web.pages.render import show
from prepcheck.web.shop import TheShop

router = APIRouter()
Near = Literal["near", "wide", "all"]
_PITCHES: dict[Near, float] = {"near": 1.5, "wide": 5.0}
"""How much of the photo is shown, in distances between neighbouring points."""
_THEN: dict[Near, tuple[Near, str]] = {
    "near": ("wide", "Show wider"),
    "wide": ("all", "Show all"),
    "all": ("near", "Show close"),
}
_LEAST_PX = 48
_WIDTH = 720
LABELS: tuple[tuple[str, str], ...] = (
    ("1", "Bright metal"),
    ("2", "Residual oxide"),
    ("3", "Pit or void"),
    ("4", "Coating left"),
    ("5", "Foreign matter"),
    ("0", "Not this work"),
    ("9", "Cannot tell"),
)


@dataclass(frozen=True)
class PointPage:
    """One point to be labelled; `last` is the one before, which can be taken back."""

    count: str
    position: int
    of_photos: int
    point: int | None
    of: int
    done: int
    last: int | None
    near: Near
    said: str
    labels: tuple[tuple[str, str], ...] = LABELS
    error: PrepcheckError | None = None

    @property
    def title(self) -> str:
        """Its name."""
        if self.point is None:
            return "All points labelled"
        return f"Point {self.point} of {self.of}"

    @property
    def other_near(self) -> tuple[Near, str]:
        """How close it is shown by the next press, with its words."""
        return _THEN[self.near]

    @property
    def here(self) -> str:
        """Address of the photo in the count."""
        return f"/count/{self.count}/{self.position}"


@router.get("/count/{name}/{position}")
def point(
    request: Request,
    shop: TheShop,
    desk: AtDesk,
    name: str,
    position: int,
    near: Near = "near",
    number: Annotated[int | None, Query(alias="point", ge=1, le=10_000)] = None,
) -> Response:
    """Show the next point without a label, or the one that is asked for."""
    folder = f.folder_of(shop.folder, name)
    field = f.field_of(folder, position)
    begun = f.begun_by(folder, field, desk.person)
    if begun is None:
        return RedirectResponse(f"/count/{name}", 303)
    return show(request, "count_point.html", _page(folder, name, position, begun, near, number), desk.person)


@router.post("/count/{name}/{position}")
def label(
    request: Request,
    shop: TheShop,
    desk: AtDesk,
    name: str,
    position: int,
    point: Annotated[int, Form(ge=1, le=10_000)],
    label: Annotated[str, Form(max_length=80)] = "",
    other: Annotated[str, Form(max_length=80)] = "",
    do: Annotated[Literal["say", "back", "finish", "again"], Form()] = "say",
    near: Annotated[Near, Form()] = "near",
) -> Response:
    """Keep a label, take one back, finish the photo, or begin a second turn; said twice it is the same."""
    folder = f.folder_of(shop.folder, name)
    field = f.field_of(folder, position)
    said = f"{label}+{other}" if other else label
    with f.TURN:  # one after the other, so that two phones of one person lose nothing
        if do == "again":
            f.begin_again(folder, field, desk.person)
        begun = f.begun_by(folder, field, desk.person)
        if begun is None:
            return RedirectResponse(f"/count/{name}", 303)
        try:
            there = _changed(folder, begun, point, said, do, f"/count/{name}/{position}?near={near}")
        except PrepcheckError as error:
            page = _page(folder, name, position, begun, near, point, error)
            return show(request, "count_point.html", page, desk.person, error.http_status)
    return RedirectResponse(there, 303)


@router.get("/count/{name}/{position}/{number}.jpg")
def point_picture(shop: TheShop, desk: AtDesk, name: str, position: int, number: int, near: Near = "near") -> Response:
    """Return the place round a point, with a cross whose middle is open."""
    folder = f.folder_of(shop.folder, name)
    field = f.field_of(folder, position)
    if not 1 <= number <= len(field.points):
        raise WrongUse(f"there is no point {number}", f"There are 1 to {len(field.points)}", field.name)
    photo = f.photo_in(folder, field, shop.settings)
    across = float(field.size[0]) if near == "all" else max(_LEAST_PX, _PITCHES[near] * field.laid.pitch)
    return picture_answer(draw_point(photo.rgb, photo.reduction, field.laid, number, across, _WIDTH))


def _changed(folder: Path, begun: Begun, point: int, label: str, do: str, here: str) -> str:
    """Do what was asked, and return where to go on."""
    if do == "finish":
        f.finish(folder, begun)
        return here.rpartition("/")[0]
    if do == "again":
        return here
    if do == "back":
        f.keep_begun(folder, begun.without(point))
        return f"{here}&point={point}"
    f.keep_begun(folder, begun.said(point, label))
    return here


def _page(
    folder: Path,
    name: str,
    position: int,
    begun: Begun,
    near: Near,
    number: int | None,
    error: PrepcheckError | None = None,
) -> PointPage:
    points = len(begun.photo.points)
    at = number if number is not None and number <= points else begun.next
    return PointPage(
        count=name,
        position=position,
        of_photos=len(read_count(folder).fields),
        point=at,
        of=points,
        done=len(begun.labels),
        last=begun.last,
        near=near,
        said=write_label(begun.labels[at]) if at in begun.labels else "",
        error=error,
    )
