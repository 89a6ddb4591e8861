"""``GET /work/{id}``: waits for an inspection where the browser runs no script, and then shows its result."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from prepcheck.web.pages.desk import AtDesk
from prepcheck.web.pages.render import show
from prepcheck.web.shop import Shop, TheShop
from prepcheck.web.work import Status

router = APIRouter()
_STEP_S = 0.1
Id = Annotated[str, Path(pattern="^[0-9a-f]{32}$")]


@dataclass(frozen=True)
class WorkPage:
    """How far an inspection is, or why it failed."""

    text: str
    share: float
    failed: bool

    @property
    def title(self) -> str:
        """The heading."""
        return "This photo was not logged" if self.failed else "Looking at the photo"


@router.get("/work/{id}")
async def work(request: Request, shop: TheShop, desk: AtDesk, id: Id) -> Response:
    """Wait a while for an inspection, then show its result or how far it is."""
    status = await _ended(shop, id)
    if status.inspection is not None:
        return RedirectResponse(f"/inspections/{status.inspection}", 303)
    page = WorkPage(status.text, status.share, status.fault is not None)
    return show(request, "work.html", page, desk.person, status.fault.status if status.fault else 200)


async def _ended(shop: Shop, id: str) -> Status:
    """Return the status of a work once it ended, or after a while."""
    left = shop.limits.wait_seconds
    status = await run_in_threadpool(shop.works.status, id)
    while left > 0 and not status.ended:
        await asyncio.sleep(_STEP_S)
        left -= _STEP_S
        status = await run_in_threadpool(shop.works.status, id)
    return status
