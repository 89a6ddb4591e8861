"""``/count``: counts of points, a new one, and how far each is; the check of the tool on the shop's own metal starts here."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from prepcheck.agreement.folder import Count, read_count
from prepcheck.agreement.grid import GRID_CHOICE
from prepcheck.errors import PrepcheckError
from prepcheck.tasks.count_folders import list_counts
from prepcheck.web.pages import count_folder as f
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.practice_room import (
    Choice,
    chosen_photos,
    job_choices,
    jobs_with_photos,
    room_of,
    sample_choices,
)
from prepcheck.web.pages.render import show
from prepcheck.web.shop import Shop, TheShop

router = APIRouter()
POINTS = tuple(
    (int(fact.value), f"{fact.value:.0f} points: where {share} of it is residue") for share, fact in GRID_CHOICE
)
POINTS_SOURCE = f"{GRID_CHOICE[0][1].source}; {GRID_CHOICE[0][1].mark.value}"


@dataclass(frozen=True)
class CountRow:
    """A count in the list."""

    name: str
    words: str


@dataclass(frozen=True)
class CountsPage:
    """All counts, and photos to begin another with; `job` is the one whose photos are offered, empty for samples."""

    rows: tuple[CountRow, ...]
    choices: tuple[Choice, ...]
    jobs: tuple[tuple[str, str], ...]
    job: str
    name: str = ""
    points: tuple[tuple[int, str], ...] = POINTS
    points_source: str = POINTS_SOURCE
    error: PrepcheckError | None = None
    title: str = "Count points"


@dataclass(frozen=True)
class PhotoRow:
    """A photo of a count, and how far who is signed in is with it; `again` says whether a second turn can be begun."""

    position: int
    name: str
    words: str
    again: bool = False


@dataclass(frozen=True)
class Step:
    """A step of the guided check of the tool."""

    words: str
    done: bool


@dataclass(frozen=True)
class CountPage:
    """One count."""

    name: str
    rows: tuple[PhotoRow, ...]
    next: int | None
    steps: tuple[Step, ...]
    finished: bool

    @property
    def title(self) -> str:
        """Its name."""
        return f"Count {self.name}"


@router.get("/count")
def counts(
    request: Request, shop: TheShop, desk: AtDesk, job: Annotated[str, Query(max_length=20)] = ""
) -> HTMLResponse:
    """Show all counts, and photos for another."""
    return show(request, "count.html", _counts_page(shop, desk, job), desk.person)


@router.post("/count")
def begin(
    request: Request,
    shop: TheShop,
    desk: AtDesk,
    name: Annotated[str, Form(max_length=80)] = "",
    photos: Annotated[list[str] | None, Form(max_length=200)] = None,
    points: Annotated[int, Form(ge=1, le=2000)] = 100,
    inside: Annotated[str, Form(max_length=5)] = "",
    job: Annotated[str, Form(max_length=20)] = "",
) -> Response:
    """Lay points on the chosen photos."""
    try:
        chosen = chosen_photos(photos or [])
        made = f.new_count(room_of(shop), shop.folder, name, chosen, points, inside=bool(inside))
    except PrepcheckError as error:
        page = _counts_page(shop, desk, job, name, error)
        return show(request, "count.html", page, desk.person, error.http_status)
    return RedirectResponse(f"/count/{made}", 303)


@router.get("/count/{name}")
def count(request: Request, shop: TheShop, desk: AtDesk, name: str) -> HTMLResponse:
    """Show one count: what is left for who is signed in, and nothing that others said."""
    return show(request, "count_one.html", _count_page(shop, desk, name), desk.person)


def _counts_page(shop: Shop, desk: Desk, job: str, name: str = "", error: PrepcheckError | None = None) -> CountsPage:
    return CountsPage(
        rows=tuple(CountRow(one, _how_far(shop, desk, one)) for one in list_counts(shop.folder)),
        choices=job_choices(desk, job) if job else sample_choices(),
        jobs=tuple((line.job.number, line.job.title) for line in jobs_with_photos(desk)),
        job=job,
        name=name,
        error=error,
    )


def _how_far(shop: Shop, desk: Desk, name: str) -> str:
    try:
        progress = f.progress_of(f.folder_of(shop.folder, name), desk.person)
    except PrepcheckError as error:
        return error.plain
    return f"{progress.done} of {progress.of} photos finished by you"


def _count_page(shop: Shop, desk: Desk, name: str) -> CountPage:
    folder = f.folder_of(shop.folder, name)
    known = read_count(folder)
    done = f.finished_by(known, desk.person)
    left = [at for at, one in enumerate(known.fields, 1) if one.sha256 not in done]
    return CountPage(
        name=name,
        rows=tuple(_row(folder, known, at, desk.person) for at in range(1, len(known.fields) + 1)),
        next=left[0] if left else None,
        steps=_steps(known, len(done)),
        finished=not left,
    )


def _row(folder: Path, known: Count, position: int, person: str) -> PhotoRow:
    one = known.fields[position - 1]
    begun, points = f.begun_by(folder, one, person), len(one.points)
    if begun is not None:
        again = "a second time: " if begun.turn > 1 else ""
        return PhotoRow(position, one.name, f"{again}{len(begun.labels)} of {points} points labelled")
    turns = f.turns_of(known, one, person)
    return PhotoRow(position, one.name, f"finished{' twice' if turns > 1 else ''}, {points} points", turns == 1)


def _steps(known: Count, done: int) -> tuple[Step, ...]:
    """Return the steps of the check of the tool on the shop's own metal."""
    photos, made = len(known.fields), known.by_person()
    whole = sum(len(counted) == photos for counted in made.values())
    return (
        Step("Choose photos that are typical of your metal, light and camera; ten or more tell more.", True),
        Step(f"Count all of them yourself, before you see any answer: {done} of {photos} done.", done == photos),
        Step(f"Let a second person count the same: {whole} finished so far. People err too.", whole > 1),
        Step("See how often the tool was wrong for you, both ways.", False),
    )
