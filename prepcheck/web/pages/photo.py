"""``GET /jobs/{number}/photo``: photograph a spot, once, under a moved light, or as a clip."""

from __future__ import annotations

import secrets
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from prepcheck import tasks
from prepcheck.errors import PrepcheckError
from prepcheck.light_set import MOST_PHOTOS
from prepcheck.store import SpotStory, Story
from prepcheck.store.words import NOTE, folded
from prepcheck.trade import typed
from prepcheck.web.asked import Asked
from prepcheck.web.pages.camera import newest, proposed_pass
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.forms import number as to_number
from prepcheck.web.pages.forms import whole
from prepcheck.web.pages.render import show
from prepcheck.web.pages.said import spot_name
from prepcheck.web.shop import Shop, TheShop

router = APIRouter()
_PIECE = 2**20
KINDS = {"photo": "One photo", "set": "Moved light", "clip": "Clip"}
_BUTTONS = {"photo": "Take the photo", "set": "Take or choose photos", "clip": "Film the clip"}
_HINTS = {
    "photo": "Torch low from the side, not from behind the phone. Square to the spot, scale card flat beside it.",
    "set": f"2 to {MOST_PHOTOS} photos from one place: rest the phone, only the torch moves. Send them together.",
    "clip": "5 to 10 seconds: hold the phone still and sweep the torch once round the spot, low over the metal.",
}
_ADVICE = (
    "Wipe the lens, rest your hands on the part, tap the spot to focus.",
    "Go so close that the spot fills about half of the picture, with some unground skin around it.",
    "What the photo shows is logged as received, under your name.",
)


@dataclass(frozen=True)
class Kind:
    """A kind of photo that can be chosen."""

    name: str
    url: str
    chosen: bool


@dataclass(frozen=True)
class Torch:
    """Where to hold the torch for one photo: the lamp's place in a drawing 120 x 90, and its beam."""

    words: str
    x: int
    y: int

    @property
    def beam(self) -> str:
        """The beam from the lamp over the spot, as the path of an SVG."""
        dx, dy = 60 - self.x, 45 - self.y
        side = (-dy * 0.42, dx * 0.42)
        far = (self.x + 1.35 * dx, self.y + 1.35 * dy)
        return f"M{self.x} {self.y}L{far[0] + side[0]:.1f} {far[1] + side[1]:.1f} {far[0] - side[0]:.1f} {far[1] - side[1]:.1f}z"


TORCHES = (
    Torch("First photo: torch from the left", 14, 45),
    Torch("Second: from the right", 106, 45),
    Torch("Third: from above", 60, 14),
    Torch("Fourth: from below", 60, 76),
)


@dataclass(frozen=True)
class PhotoPage:
    """The page that takes photos; `spot` and `pass_no` are proposed."""

    number: str
    job: str
    kind: str
    kinds: tuple[Kind, ...]
    spot: str
    pass_no: int
    pass_hint: str
    known: str
    error: PrepcheckError | None = None
    title: str = "Photograph a spot"
    torches: tuple[Torch, ...] = TORCHES
    advice: tuple[str, ...] = _ADVICE

    @property
    def hint(self) -> str:
        """Where to hold phone and torch."""
        return _HINTS[self.kind]

    @property
    def button(self) -> str:
        """What the camera's button says."""
        return _BUTTONS[self.kind]


@router.get("/jobs/{number}/photo")
def ask(request: Request, desk: AtDesk, number: str, spot: str = "", kind: str = "photo") -> HTMLResponse:
    """Show the camera."""
    return show(request, "photo.html", photo_page(desk, number, spot, kind), desk.person)


def photo_page(desk: Desk, number: str, spot: str, kind: str, error: PrepcheckError | None = None) -> PhotoPage:
    """Return the page that photographs a spot of a job, the one photographed last unless one is named."""
    story = tasks.job_story(desk.store, number)
    found = _found(story, spot)
    name = str(found.number) if found else spot or str(len(story.spots) + 1)
    chosen = kind if kind in KINDS else "photo"
    return PhotoPage(
        number=story.job.number,
        job=story.job.title,
        kind=chosen,
        kinds=tuple(Kind(words, _url(name, key), key == chosen) for key, words in KINDS.items()),
        spot=name,
        pass_no=1 if found is None else proposed_pass(found),
        pass_hint=_pass_hint(found),
        known="; ".join(spot_name(one) for one in story.spots),
        error=error,
    )


def _url(spot: str, kind: str) -> str:
    return "?" + urlencode({"spot": spot, "kind": kind})


def _found(story: Story, named: str) -> SpotStory | None:
    if not named:
        last = newest(story)
        return None if last is None else last[0]
    same = (one for one in story.spots if named == str(one.number) or folded(named) == folded(one.name))
    return next(same, None)


def _pass_hint(spot: SpotStory | None) -> str:
    if spot is None or not spot.passes:
        return "1 for the first photo of a spot"
    last = spot.passes[-1]
    return (
        f"the last was {last.pass_no}, {last.inspections[-1].standing}; the same for another photo of the same grinding"
    )


@router.post("/jobs/{number}/photo")
async def take(
    request: Request,
    shop: TheShop,
    desk: AtDesk,
    number: str,
    photos: Annotated[list[UploadFile], File()],
    spot: Annotated[str, Form(max_length=80)],
    pass_no: Annotated[str, Form(max_length=4)],
    kind: Annotated[str, Form(max_length=10)] = "photo",
    note: Annotated[str, Form(max_length=NOTE)] = "",
    mm_per_px: Annotated[str, Form(max_length=20)] = "",
) -> Response:
    """Take photos from a browser that runs no script."""
    said = {"pass_no": pass_no, **({"mm_per_px": mm_per_px} if mm_per_px else {})}
    try:
        given = [await _received(shop, photo) for photo in photos[:MOST_PHOTOS]]
        asked = typed.made(
            Asked,
            key=secrets.token_hex(16),
            uploads=given,
            kind="set" if len(given) > 1 else "clip" if kind == "clip" else "photo",
            job=number,
            spot=spot,
            pass_no=whole(said, "pass_no", "the grinding pass"),
            note=note,
            mm_per_px=to_number(said, "mm_per_px", "the scale"),
        )
        work = await run_in_threadpool(shop.works.accept, asked, desk.person)
    except PrepcheckError as error:
        page = await run_in_threadpool(photo_page, desk, number, spot, kind, error)
        return show(request, "photo.html", page, desk.person, error.http_status)
    return RedirectResponse(f"/work/{work}", 303)


async def _received(shop: Shop, photo: UploadFile) -> str:
    """Keep a photo as an upload, and return its id."""
    upload = await run_in_threadpool(
        shop.uploads.start, secrets.token_hex(16), photo.filename or "photo", photo.size or 0
    )
    return (await shop.uploads.add(upload.id, 0, _pieces(photo))).id


async def _pieces(photo: UploadFile) -> AsyncIterator[bytes]:
    while piece := await photo.read(_PIECE):
        yield piece
