"""``/practice``: own sessions and how they came out, and photos to begin another with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from prepcheck.errors import PrepcheckError
from prepcheck.tasks.practice import Session, list_practice, start_practice
from prepcheck.tasks.practice_progress import NOTES, Outcome, outcome_words, outcomes, since_then
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.practice_room import (
    Choice,
    chosen_photos,
    job_choices,
    jobs_with_photos,
    own_session,
    picture_answer,
    room_of,
    sample_choices,
    sample_thumb,
)
from prepcheck.web.pages.render import show
from prepcheck.web.pages.said import when
from prepcheck.web.shop import Shop, TheShop

router = APIRouter()
MOST_SESSIONS = 50
"""Of a person, the newest ones; all are told by prepcheck practice progress."""
Job = Annotated[str, Query(max_length=20)]


@dataclass(frozen=True)
class SessionRow:
    """A session in the list: how far it is, and how it came out."""

    number: int
    name: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class PracticePage:
    """Own sessions, and photos to begin another with; `job` is the one whose photos are offered, empty for samples."""

    sessions: tuple[SessionRow, ...]
    choices: tuple[Choice, ...]
    jobs: tuple[tuple[str, str], ...]
    job: str
    notes: tuple[str, ...]
    error: PrepcheckError | None = None
    title: str = "Practice"


@dataclass(frozen=True)
class PhotoRow:
    """A photo of a session."""

    position: int
    name: str
    words: str


@dataclass(frozen=True)
class SessionPage:
    """One session."""

    number: int
    when: str
    rows: tuple[PhotoRow, ...]
    next: int | None
    words: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def title(self) -> str:
        """Its name."""
        return f"Practice session {self.number}"


@router.get("/practice")
def practice(request: Request, shop: TheShop, desk: AtDesk, job: Job = "") -> HTMLResponse:
    """Show own sessions, and photos to begin with."""
    return show(request, "practice.html", _front(shop, desk, job), desk.person)


@router.post("/practice")
def begin(
    request: Request,
    shop: TheShop,
    desk: AtDesk,
    photos: Annotated[list[str] | None, Form(max_length=200)] = None,
    job: Annotated[str, Form(max_length=20)] = "",
) -> Response:
    """Begin a session with the chosen photos."""
    try:
        chosen = chosen_photos(photos or [])
        session = start_practice(room_of(shop), chosen, person=desk.person, at=desk.now)
    except PrepcheckError as error:
        return show(request, "practice.html", _front(shop, desk, job, error), desk.person, error.http_status)
    return RedirectResponse(f"/practice/{session.number}/1", 303)


@router.get("/practice/samples/{number}.jpg")
def sample(shop: TheShop, desk: AtDesk, number: int) -> Response:
    """Return a small picture of a sample."""
    return picture_answer(sample_thumb(room_of(shop), number))


@router.get("/practice/{number}")
def session(request: Request, shop: TheShop, desk: AtDesk, number: int) -> HTMLResponse:
    """Show one session."""
    found = own_session(room_of(shop), number, desk.person)
    told = outcomes(found)
    page = SessionPage(
        number=number,
        when=when(found.at, desk.now.tzinfo),
        rows=tuple(_row(found, at) for at in range(1, len(found.photos) + 1)),
        next=found.next,
        words=tuple(line for one in told for line in outcome_words(one)),
        notes=NOTES if told else (),
    )
    return show(request, "practice_session.html", page, desk.person)


def _front(shop: Shop, desk: Desk, job: str, error: PrepcheckError | None = None) -> PracticePage:
    mine = list_practice(room_of(shop), desk.person)
    return PracticePage(
        sessions=tuple(reversed(_session_rows(mine, desk)))[:MOST_SESSIONS],
        choices=job_choices(desk, job) if job else sample_choices(),
        jobs=tuple((line.job.number, line.job.title) for line in jobs_with_photos(desk)),
        job=job,
        notes=NOTES if any(one.compared for one in mine) else (),
        error=error,
    )


def _session_rows(sessions: list[Session], desk: Desk) -> list[SessionRow]:
    """Say how each came out, and against the first one whether more was found since."""
    rows, first = [], dict[str, Outcome]()
    for one in sessions:
        words = [f"{len(one.marks)} of {len(one.photos)} photos marked"]
        for each in outcomes(one):
            before = first.setdefault(each.against, each)
            words += outcome_words(each) + ([since_then(before, each)] if before is not each else [])
        name = f"Session {one.number}, {when(one.at, desk.now.tzinfo)}"
        rows.append(SessionRow(one.number, name, tuple(words)))
    return rows


def _row(found: Session, position: int) -> PhotoRow:
    one = found.photo(position)
    marked = one.sha256 in found.marks
    return PhotoRow(position, one.name, "marked; see the difference" if marked else "not marked yet")
