"""``POST /inspections/{id}/outlines`` and ``.../joint``: look again with what a person drew or refused."""

from __future__ import annotations

import secrets
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import TypeAdapter, ValidationError

from prepcheck.errors import PrepcheckError, WrongUse
from prepcheck.record import Record
from prepcheck.report.words import person_spots
from prepcheck.store.words import NOTE
from prepcheck.trade import typed
from prepcheck.web.asked import Asked, Line, Outlines
from prepcheck.web.pages.desk import AtDesk, Desk, Found
from prepcheck.web.pages.forms import number as number_of
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
        asked = _asked(desk, number, typed.made(Outlines, draw=drawn, refuse=refused), _reason(reason))
        work = shop.works.accept(asked, desk.person)
    except PrepcheckError as error:
        return _again(request, desk, number, error, "outlines")
    return RedirectResponse(f"/work/{work}", 303)


@router.post("/inspections/{number}/joint")
def joint(
    request: Request,
    shop: TheShop,
    desk: AtDesk,
    number: int,
    points: Points = "",
    margin_mm: Annotated[str, Form(max_length=20)] = "",
) -> Response:
    """Look again with the joint line that a person drew, and the margin beside it that they state."""
    try:
        if not points:
            raise WrongUse("no joint line was drawn", "Draw it on the photo, from end to end")
        drawn = typed.made(Outlines, joint=_line(points), joint_margin_mm=_margin(margin_mm))
        work = shop.works.accept(_asked(desk, number, drawn, ""), desk.person)
    except PrepcheckError as error:
        return _again(request, desk, number, error, "joint")
    return RedirectResponse(f"/work/{work}", 303)


def _again(request: Request, desk: Desk, number: int, error: PrepcheckError, form: str) -> Response:
    page = inspection_page(desk, number, True, error, form)
    return show(request, "inspection.html", page, desk.person, error.http_status)


def _asked(desk: Desk, number: int, new: Outlines, note: str) -> Asked:
    """Return the question: the same photo in the same place of the log; what was drawn and refused before stays."""
    found = desk.find(number)
    return Asked(
        key=secrets.token_hex(16),
        job=found.job.number,
        spot=str(found.spot.number),
        pass_no=found.pass_no,
        note=note,
        outline=_the_spot(found, new),
        outlines=_with_earlier(found.record, new),
        corrects=number,
    )


def _the_spot(found: Found, new: Outlines) -> int | None:
    """Return the outline of the job's spot: what is drawn now, else what was logged as it unless it is refused."""
    if new.draw:
        return max((one.number for one in found.record.spots), default=0) + 1
    return None if str(found.logged.outline) in new.refuse else found.logged.outline


def _with_earlier(record: Record, new: Outlines) -> Outlines:
    """Return what is drawn and refused now, beside what was; a new outline or joint line takes the place of an older."""
    refused = {} if record.by_person is None else {str(one): why for one, why in record.by_person.refused.items()}
    told = Outlines(draw=[spot.outline for spot in person_spots(record)], refuse=refused, **_joint_of(record))
    return told.model_copy(update={**new.model_dump(exclude_defaults=True), "refuse": refused | new.refuse})


def _joint_of(record: Record) -> dict[str, Any]:
    joint = record.joint or (record.by_person.joint if record.by_person else None)
    if joint is None:
        return {}
    return {"joint": joint.line, "joint_margin_mm": joint.margin_mm if joint.margin_stated else None}


def _margin(text: str) -> float | None:
    said = {"margin": text.strip()} if text.strip() else {}
    return number_of(said, "margin", "the margin")


def _reason(text: str) -> str:
    if not text.strip():
        raise WrongUse("the reason is missing", "Say why, in your words")
    return text.strip()


def _line(points: str) -> Any:
    try:
        return _LINE.validate_json(points)
    except ValidationError as error:
        raise WrongUse("what was drawn cannot be used", "Draw it again") from error
