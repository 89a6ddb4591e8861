"""``/work/{id}``: waits for an inspection where the browser runs no script; there a person also chooses the outline."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from prepcheck.errors import PrepcheckError
from prepcheck.web.errors import UnknownPage
from prepcheck.web.pages.desk import AtDesk
from prepcheck.web.pages.render import show
from prepcheck.web.shop import Shop, TheShop
from prepcheck.web.work import Status

router = APIRouter()
_STEP_S = 0.1
_TEMPLATE = "work.html"
Id = Annotated[str, Path(pattern="^[0-9a-f]{32}$")]


@dataclass(frozen=True)
class WorkPage:
    """How far an inspection is, or why it failed; `outlines` are those among which a person must choose."""

    id: str
    text: str
    share: float
    failed: bool
    outlines: tuple[int, ...] = ()
    pictured: bool = False
    error: PrepcheckError | None = None

    @property
    def title(self) -> str:
        """The heading."""
        if self.outlines:
            return "Which one is the spot?"
        return "This photo was not logged" if self.failed else "Looking at the photo"


@router.get("/work/{id}")
async def work(request: Request, shop: TheShop, desk: AtDesk, id: Id) -> Response:
    """Wait a while for an inspection, then show its result or how far it is."""
    status = await _ended(shop, id)
    if status.inspection is not None:
        return RedirectResponse(f"/inspections/{status.inspection}", 303)
    page = _page(shop, id, status)
    return show(request, _TEMPLATE, page, desk.person, status.fault.status if status.fault else 200)


@router.post("/work/{id}")
def choose(
    request: Request, shop: TheShop, desk: AtDesk, id: Id, outline: Annotated[int, Form(ge=1, le=999)]
) -> Response:
    """Look again with the outline that a person chose."""
    try:
        shop.works.choose(id, outline, desk.person)
    except PrepcheckError as error:
        page = _page(shop, id, shop.works.status(id), error)
        return show(request, _TEMPLATE, page, desk.person, error.http_status)
    return RedirectResponse(f"/work/{id}", 303)


@router.get("/work/{id}/outlines.jpg")
def outlines(shop: TheShop, desk: AtDesk, id: Id) -> Response:
    """Return the photo with the outlines to choose among."""
    data = shop.works.choice_picture(id)
    if data is None:
        raise UnknownPage("this picture is not kept", "Choose by the numbers, or send the photo again")
    return Response(data, media_type="image/jpeg")


def _page(shop: Shop, id: str, status: Status, error: PrepcheckError | None = None) -> WorkPage:
    fault = status.fault
    numbers = tuple(fault.outlines) if fault is not None and fault.outlines else ()
    pictured = bool(numbers) and shop.works.choice_picture(id) is not None
    return WorkPage(id, status.text, status.share, fault is not None, numbers, pictured, error)


async def _ended(shop: Shop, id: str) -> Status:
    """Return the status of a work once it ended, or after a while."""
    left = shop.limits.wait_seconds
    status = await run_in_threadpool(shop.works.status, id)
    while left > 0 and not status.ended:
        await asyncio.sleep(_STEP_S)
        left -= _STEP_S
        status = await run_in_threadpool(shop.works.status, id)
    return status
