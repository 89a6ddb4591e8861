"""``POST /inspections/{id}/outlines`` and ``.../joint``: look again with what a person drew or refused."""

from __future__ import annotations

import secrets
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import TypeAdapter, ValidationError

from prepcheck.errors import PrepcheckError, WrongUse
from prepcheck.store.words import NOTE
from prepcheck.web.asked import Asked, Line, Outlines
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.forms import made
from prepcheck.web.pages.inspection import inspection_page
from prepcheck.web.pages.render import show
from prepcheck.web.shop import TheShop

router = APIRouter()
_LINE: TypeAdapter[Any] = TypeAdapter(Line)
Points = Annotated[str, Form(max_length=400_000)]


@router.post("/inspections/{number}/outlines")
def outlines(
    request: Request,
    shop: TheShop,
    desk: AtDesk,
    number: int,
    points: Points = "",
    reason: Annotated[str, Form(max_length=NOTE)] = "",
    refuse: Annotated[list[int] | None, Form()] = None,
) -> Response:
    """Look again with an outline that a person drew, without those refused."""
    try:
        drawn = [_line(points)] if points else []
        refused = {str(one): _reason(reason) for one in refuse or ()}
        if not drawn and not refused:
            raise WrongUse("nothing was drawn and nothing refused", "Draw the outline on the photo, or refuse one")
        asked = _asked(desk, number, made(Outlines, draw=drawn, refuse=refused), _reason(reason), bool(drawn))
        work = shop.works.accept(asked, desk.person)
    except PrepcheckError as error:
        return _again(request, desk, number, error, "outlines")
    return RedirectResponse(f"/work/{work}", 303)


@router.post("/inspections/{number}/joint")
def joint(request: Request, shop: TheShop, desk: AtDesk, number: int, points: Points = "") -> Response:
    """Look again with the joint line that a person drew."""
    try:
        if not points:
            raise WrongUse("no joint line was drawn", "Draw it on the photo, from end to end")
        work = shop.works.accept(_asked(desk, number, made(Outlines, joint=_line(points)), "", False), desk.person)
    except PrepcheckError as error:
        return _again(request, desk, number, error, "joint")
    return RedirectResponse(f"/work/{work}", 303)


def _again(request: Request, desk: Desk, number: int, error: PrepcheckError, form: str) -> Response:
    page = inspection_page(desk, number, True, error, form)
    return show(request, "inspection.html", page, desk.person, error.http_status)


def _asked(desk: Desk, number: int, outlines: Outlines, note: str, drawn: bool) -> Asked:
    """Return the question: the same photo in the same place of the log; what is drawn is the job's spot."""
    found = desk.find(number)
    of_tool = [one.number for one in found.record.spots]
    return Asked(
        key=secrets.token_hex(16),
        job=found.job.number,
        spot=str(found.spot.number),
        pass_no=found.pass_no,
        note=note,
        outline=max(of_tool, default=0) + 1 if drawn else None,
        outlines=outlines,
        corrects=number,
    )


def _reason(text: str) -> str:
    if not text.strip():
        raise WrongUse("the reason is missing", "Say why, in your words")
    return text.strip()


def _line(points: str) -> Any:
    try:
        return _LINE.validate_json(points)
    except ValidationError as error:
        raise WrongUse("what was drawn cannot be used", "Draw it again") from error
