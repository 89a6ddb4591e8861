"""``GET /``: the jobs, open ones first, a page of them at a time, and the camera for the spot that was photographed last."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import tzinfo
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from prepcheck import tasks
from prepcheck.store import JobLine
from prepcheck.terms import Standing
from prepcheck.trade.steps import JobState, Progress, state_of
from prepcheck.web.pages.camera import Camera, camera_for, newest
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.render import show
from prepcheck.web.pages.said import when

router = APIRouter()
MOST_JOBS = 30
"""Jobs on the first page; older ones are a press away."""


@dataclass(frozen=True)
class JobRow:
    """A job in the list: what is next in it, what blocks, and its last standing."""

    number: str
    title: str
    last: str
    standing: Standing | None = None
    next: str = ""
    blocks: tuple[str, ...] = ()
    finished: bool = False


@dataclass(frozen=True)
class JobsPage:
    """Jobs, the newest unless older ones are asked for; `older` counts those opened before the ones shown."""

    rows: tuple[JobRow, ...]
    camera: Camera | None = None
    older: int = 0
    title: str = "Jobs"

    @property
    def last(self) -> str:
        """Number of the oldest job shown."""
        return self.rows[-1].number

    @property
    def open(self) -> tuple[JobRow, ...]:
        """Those with something to do."""
        return tuple(row for row in self.rows if not row.finished)

    @property
    def finished(self) -> tuple[JobRow, ...]:
        """Those whose steps are all done."""
        return tuple(row for row in self.rows if row.finished)


@router.get("/")
def jobs(request: Request, desk: AtDesk, before: Annotated[str | None, Query(max_length=20)] = None) -> HTMLResponse:
    """Show the newest jobs, or those opened before one."""
    return show(request, "jobs.html", jobs_page(desk, before), desk.person)


def jobs_page(desk: Desk, before: str | None = None) -> JobsPage:
    """Return a page of jobs, the newest or those opened before one; an unknown one is an `UnknownRecord`."""
    shown = tasks.list_jobs(desk.store, newest=MOST_JOBS, before=before)
    entries = desk.store.events_of([line.job.number for line in shown])
    states = [state_of(entries[line.job.number], desk.now, desk.settings) for line in shown]
    rows = tuple(_row(*one, desk.now.tzinfo) for one in zip(shown, states, strict=True))
    open_ones = [line for line, row in zip(shown, rows, strict=True) if not row.finished]
    older = desk.store.count_jobs(shown[-1].job.number) if shown else 0
    return JobsPage(rows, None if before else _camera(desk, open_ones), older)


def _row(line: JobLine, state: JobState | None, zone: tzinfo | None) -> JobRow:
    at_hand = () if state is None else state.those(Progress.HELD, Progress.NEXT)
    return JobRow(
        number=line.job.number,
        title=line.job.title,
        last=_last(line, zone),
        standing=line.last_standing,
        next=", ".join(one.step.name for one in at_hand),
        blocks=tuple(dict.fromkeys(said.text for one in at_hand for said in one.blocks)),
        finished=state is not None and all(one.progress.finished for one in state.steps),
    )


def _last(line: JobLine, zone: tzinfo | None) -> str:
    if line.last_at is None:
        return f"nothing photographed yet, opened {when(line.job.opened_at, zone)} by {line.job.opened_by}"
    many = ((line.spots, "spot"), (line.inspections, "inspection"))
    told = ", ".join(f"{count} {word}{'' if count == 1 else 's'}" for count, word in many)
    return f"{when(line.last_at, zone)}; {told}"


def _camera(desk: Desk, lines: Iterable[JobLine]) -> Camera | None:
    """Return the camera for the open job that was photographed last; None before the first photo."""
    last = max((line for line in lines if line.last_at), key=lambda line: line.last_at or "", default=None)
    if last is None:
        return None
    story = tasks.job_story(desk.store, last.job.number)
    found = newest(story)
    return None if found is None else camera_for(story.job, found[0])
