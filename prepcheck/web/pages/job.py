"""``GET /jobs/{number}``: what is next in a job, what blocks, its spots and steps; ``POST .../plan`` chooses its plan."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from prepcheck import tasks
from prepcheck.errors import PrepcheckError
from prepcheck.report.job.told import last_of
from prepcheck.report.words import since_words
from prepcheck.store import Job, SpotStory, Story
from prepcheck.terms import Standing
from prepcheck.trade.facts import Remark
from prepcheck.trade.steps import JobState, Progress
from prepcheck.trade.units import Kind, System, shown
from prepcheck.web.pages.camera import Camera, camera_for, newest
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.forms import Form, SentForm
from prepcheck.web.pages.new_job import work_field, work_of
from prepcheck.web.pages.render import show
from prepcheck.web.pages.said import score_of, spot_name, when
from prepcheck.web.pages.step_rows import StepRow, step_row

router = APIRouter()
_NOT_TOLD = "not told"


@dataclass(frozen=True)
class SpotRow:
    """A spot of the job as it stands after its last pass."""

    name: str
    url: str
    picture: str
    standing: Standing
    words: str


@dataclass(frozen=True)
class JobPage:
    """One job. Without a plan `steps` is empty and `plan_form` asks for one."""

    number: str
    name: str
    camera: Camera | None
    spots: tuple[SpotRow, ...]
    facts: tuple[tuple[str, str], ...]
    plan_form: Form
    work: str = ""
    steps: tuple[StepRow, ...] = ()
    ran_out: tuple[Remark, ...] = ()
    clock: tuple[Remark, ...] = ()

    @property
    def title(self) -> str:
        """Number and name."""
        return f"{self.number} {self.name}"

    @property
    def at_hand(self) -> tuple[StepRow, ...]:
        """The steps that can be done or released now."""
        return tuple(row for row in self.steps if row.progress in (Progress.HELD, Progress.NEXT))


@router.get("/jobs/{number}")
def one_job(request: Request, desk: AtDesk, number: str) -> HTMLResponse:
    """Show one job."""
    return show(request, "job.html", job_page(desk, number), desk.person)


@router.post("/jobs/{number}/plan")
def choose(request: Request, desk: AtDesk, number: str, said: SentForm) -> Response:
    """Give the job its plan of steps."""
    try:
        work = work_of(said)
        tasks.choose_work(desk.store, number, work, person=desk.person, at=desk.now, settings=desk.settings)
    except PrepcheckError as error:
        return show(request, "job.html", job_page(desk, number, error), desk.person, error.http_status)
    return RedirectResponse(f"/jobs/{number}", 303)


def job_page(desk: Desk, number: str, error: PrepcheckError | None = None) -> JobPage:
    """Return the page of a job."""
    story = tasks.job_story(desk.store, number)
    state, job, zone = tasks.story_state(story, desk.now, desk.settings), story.job, desk.now.tzinfo
    return JobPage(
        number=job.number,
        name=job.title,
        camera=_camera(story),
        spots=tuple(_spot_row(job.number, spot) for spot in story.spots if spot.passes),
        facts=_facts(job, zone, System(desk.settings.report.units)),
        plan_form=Form(f"/jobs/{job.number}/plan", "Choose this plan", (work_field(),), error=error),
        work="" if state is None else state.work.title,
        steps=() if state is None else tuple(step_row(job.number, one, zone) for one in state.steps),
        ran_out=_ran_out(state),
        clock=() if state is None else state.remarks,
    )


def _ran_out(state: JobState | None) -> tuple[Remark, ...]:
    """Return what ran out of time and is not told at a step at hand already."""
    if state is None:
        return ()
    told = {one for each in state.those(Progress.HELD, Progress.NEXT) for one in each.blocks}
    return tuple(one for one in state.ran_out if one not in told)


def _camera(story: Story) -> Camera | None:
    found = newest(story)
    return None if found is None else camera_for(story.job, found[0])


def _spot_row(job: str, spot: SpotStory) -> SpotRow:
    last = last_of(spot.passes[-1])
    since = "" if last.since is None else f"; {since_words(last.since)}"
    return SpotRow(
        name=spot_name(spot),
        url=f"/jobs/{job}/spots/{spot.number}",
        picture=f"/api/inspections/{last.number}/thumb.jpg",
        standing=last.standing,
        words=f"pass {spot.passes[-1].pass_no}: {score_of(last)}{since}",
    )


def _facts(job: Job, zone: tzinfo | None, system: System) -> tuple[tuple[str, str], ...]:
    wall = _NOT_TOLD if job.wall_mm is None else shown(job.wall_mm, Kind.LENGTH, system)
    return (
        ("Part", job.part or _NOT_TOLD),
        ("Alloy", job.alloy or _NOT_TOLD),
        ("Wall", wall),
        ("Held before", job.previous_contents or _NOT_TOLD),
        ("Customer's number", job.customer_reference or _NOT_TOLD),
        ("Opened", f"{when(job.opened_at, zone)} by {job.opened_by}"),
    )
