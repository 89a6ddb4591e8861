"""The JSON side, described at ``/api/openapi.json``: uploads, inspections, works, jobs, pairing and signing in."""

from __future__ import annotations

import asyncio
from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Query, Request, Response
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool

from prepcheck import tasks
from prepcheck.record import Record
from prepcheck.store import JobLine, LoggedInspection, Story
from prepcheck.store.placed import Placed, placed
from prepcheck.web.asked import Asked, Id, NameAndPin, NewUpload, Redrawn
from prepcheck.web.asked import Paired as PairedBody
from prepcheck.web.errors import ErrorBody
from prepcheck.web.pictures import LONGEST, Shown
from prepcheck.web.session import Keeper, Paired, Session, SignedIn, limit, set_cookie
from prepcheck.web.shop import Shop, TheShop
from prepcheck.web.uploads import Upload
from prepcheck.web.work import State, Status

ERRORS: dict[int | str, dict[str, Any]] = {
    status: {"model": ErrorBody} for status in (400, 401, 403, 404, 409, 413, 421, 422, 429, 503)
}
router = APIRouter(prefix="/api", responses=ERRORS)
_STEP = 0.1
Inspection = Annotated[int, Path(ge=1, lt=2**63)]


class UploadTold(BaseModel):
    """An upload, and how many bytes of it are here."""

    id: str
    offset: int
    bytes: int
    name: str


class WorkTold(BaseModel):
    """The id of a work, for ``/api/work/{id}``."""

    work: str


class OutlineTold(BaseModel):
    """An outline among which a person must choose, in pixels of the upright full-size photo."""

    number: int
    outline: list[tuple[float, float]]


class StatusTold(BaseModel):
    """How far a work is."""

    state: State
    share: float
    text: str
    inspection: int | None = None
    outlines: list[OutlineTold] | None = None
    error: dict[str, str] | None = None


class InspectionTold(BaseModel):
    """An inspection as logged: where it lies, what the log tells of it, and the tool's record."""

    place: Placed
    logged: LoggedInspection
    record: Record


class SessionTold(BaseModel):
    """Who is signed in on this phone; the names of those who may sign in; whether the log has a keeper yet."""

    session: Session
    people: list[str]
    has_keeper: bool


# ---- pairing and signing in


@router.post("/pair")
def pair(body: PairedBody, request: Request, response: Response, shop: TheShop) -> dict[str, str]:
    """Pair this phone with a one-time link."""
    limit(request, shop, shop.limits.pairing)
    token = shop.sessions.pair(body.token, body.device or request.headers.get("user-agent", ""))
    set_cookie(request, response, token, shop.limits)
    return {"paired": "yes"}


@router.get("/session")
def session(session: Paired, shop: TheShop) -> SessionTold:
    """Tell who is signed in."""
    names = [one.name for one in tasks.list_people(shop.store) if one.has_pin]
    return SessionTold(session=session, people=names, has_keeper=shop.sessions.has_keeper())


@router.post("/sign-in")
def sign_in(body: NameAndPin, request: Request, session: Paired, shop: TheShop) -> Session:
    """Sign a person in on this phone; the first one in a log without a keeper becomes its keeper."""
    limit(request, shop, shop.limits.signing_in)
    return shop.sessions.sign_in(session, body.name, body.pin)


@router.post("/sign-out", status_code=204)
def sign_out(session: Paired, shop: TheShop) -> None:
    """Sign out; the phone stays paired."""
    shop.sessions.sign_out(session)


@router.post("/links")
def new_link(keeper: Keeper, shop: TheShop) -> dict[str, str]:
    """Make a link that pairs one more phone."""
    return {"link": f"{shop.address}/pair/{shop.sessions.new_link()}"}


@router.get("/sessions")
def sessions(keeper: Keeper, shop: TheShop) -> list[Session]:
    """Tell all paired phones."""
    return shop.sessions.all()


@router.delete("/sessions/{number}", status_code=204)
def revoke(number: Annotated[int, Path(ge=1, lt=2**63)], keeper: Keeper, shop: TheShop) -> None:
    """End the session of a phone."""
    shop.sessions.revoke(number)


# ---- uploads


@router.post("/uploads")
def start_upload(body: NewUpload, request: Request, session: SignedIn, shop: TheShop) -> UploadTold:
    """Begin an upload, or find the one with this key and where it stands."""
    limit(request, shop, shop.limits.uploading)
    return _upload(shop.uploads.start(body.key, body.name, body.bytes, body.sha256))


@router.get("/uploads/{id}")
def find_upload(id: Id, session: SignedIn, shop: TheShop) -> UploadTold:
    """Tell where an upload stands."""
    return _upload(shop.uploads.find(id))


_BYTES = {"requestBody": {"content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}}}


@router.patch("/uploads/{id}", openapi_extra=_BYTES)
async def go_on(
    id: Id, upload_offset: Annotated[int, Header(ge=0, lt=2**63)], request: Request, session: SignedIn, shop: TheShop
) -> UploadTold:
    """Add bytes from ``Upload-Offset`` on; 409 tells in the header of the same name where the upload stands."""
    return _upload(await shop.uploads.add(id, upload_offset, request.stream()))


def _upload(upload: Upload) -> UploadTold:
    return UploadTold(id=upload.id, offset=upload.offset, bytes=upload.bytes, name=upload.name)


# ---- inspections


@router.post("/inspections", status_code=202)
def inspect(asked: Asked, session: SignedIn, shop: TheShop) -> WorkTold:
    """Inspect uploads and log the answer; the same key is the same inspection."""
    return WorkTold(work=shop.works.accept(asked, session.person))


@router.post("/inspections/{number}/outlines", status_code=202)
def redraw(number: Inspection, body: Redrawn, session: SignedIn, shop: TheShop) -> WorkTold:
    """Look again at a logged inspection with outlines and a joint line that a person drew; the first answer stays."""
    where = placed(shop.store, number)
    asked = Asked(
        key=body.key,
        job=where.job,
        spot=str(where.spot),
        pass_no=where.pass_no,
        note=body.note,
        outline=body.outline,
        outlines=body.outlines,
        corrects=number,
    )
    return WorkTold(work=shop.works.accept(asked, session.person))


@router.get("/work/{id}")
async def work(
    id: Id, session: SignedIn, shop: TheShop, wait: Annotated[float, Query(ge=0, le=60)] = 0.0
) -> StatusTold:
    """Tell how far a work is; with `wait` the answer is held until something changes, for so many seconds."""
    first = found = await run_in_threadpool(shop.works.status, id)
    left = min(wait, shop.limits.wait_seconds)
    while left > 0 and found == first and not found.ended:
        await asyncio.sleep(_STEP)
        left -= _STEP
        found = await run_in_threadpool(shop.works.status, id)
    return _status(found)


def _status(status: Status) -> StatusTold:
    fault = status.fault
    outlines = None if fault is None or fault.outlines is None else fault.outlines
    return StatusTold(
        state=status.state,
        share=status.share,
        text=status.text,
        inspection=status.inspection,
        outlines=None if outlines is None else [OutlineTold(number=n, outline=o) for n, o in outlines.items()],
        error=None if fault is None else {"code": fault.code, "message": fault.message},
    )


@router.get("/inspections/{number}")
def inspection(number: Inspection, session: SignedIn, shop: TheShop) -> InspectionTold:
    """Tell an inspection: the record, and what the log says beside it."""
    return told_inspection(shop, number)


def told_inspection(shop: Shop, number: int) -> InspectionTold:
    """Return an inspection as logged; an unknown one is an `UnknownRecord`."""
    where = placed(shop.store, number)
    story = tasks.job_story(shop.store, where.job, str(where.spot))
    logged = next(
        one for spot in story.spots for passed in spot.passes for one in passed.inspections if one.number == number
    )
    record = Record.model_validate_json(shop.store.record_text(number))
    return InspectionTold(place=where, logged=logged, record=record)


@router.get("/inspections/{number}/{what}", response_class=Response)
def picture(
    number: Inspection,
    what: Shown,
    session: SignedIn,
    shop: TheShop,
    long: Annotated[int, Query(ge=1, le=LONGEST)] = 1280,
) -> Response:
    """Return a picture of an inspection: the photo, the marks over it, both with words, or a small photo."""
    kind = "image/png" if what is Shown.OVERLAY else "image/jpeg"
    data = shop.pictures.get(number, what, long)
    return Response(data, media_type=kind, headers={"Cache-Control": "private, max-age=600"})


# ---- jobs


@router.get("/jobs")
def jobs(session: SignedIn, shop: TheShop) -> list[JobLine]:
    """Tell all jobs, newest first."""
    return tasks.list_jobs(shop.store)


@router.get("/jobs/{number}")
def job(number: Annotated[str, Path(max_length=80)], session: SignedIn, shop: TheShop) -> Story:
    """Tell everything that was logged in a job."""
    return tasks.job_story(shop.store, number)
