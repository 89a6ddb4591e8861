"""``GET, POST /jobs/new``: open a job, with its plan of steps."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from prepcheck import tasks
from prepcheck.errors import PrepcheckError, WrongUse
from prepcheck.store import NewJob
from prepcheck.store.words import TITLE
from prepcheck.trade.units import Kind, optional_quantity
from prepcheck.trade.work import SHIPPED, Work, load_work
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.forms import Field, Form, Said, SentForm, needed
from prepcheck.web.pages.render import show

router = APIRouter()
FIELDS = (
    Field("title", "What is to be done", 'Such as "Leak at the lower seam"', needed=True, most=TITLE),
    Field("part", "Part", "Which part of what", most=TITLE),
    Field("previous_contents", "What it held", "All it ever held, or: unknown", most=TITLE),
    Field("alloy", "Alloy", "As told; no photo shows what the metal is"),
    Field("wall", "Wall", 'With its unit, such as "5 mm"'),
    Field("customer_reference", "Customer's number"),
)


@dataclass(frozen=True)
class NewJobPage:
    """The form that opens a job."""

    form: Form
    title: str = "New job"


@router.get("/jobs/new")
def ask(request: Request, desk: AtDesk) -> HTMLResponse:
    """Ask what a new job is about."""
    return show(request, "new_job.html", NewJobPage(new_job_form({})), desk.person)


@router.post("/jobs/new")
def open_new(request: Request, desk: AtDesk, said: SentForm) -> Response:
    """Open the job, or ask again with what was wrong."""
    try:
        number = opened(desk, said)
    except PrepcheckError as error:
        page = NewJobPage(new_job_form(said, error))
        return show(request, "new_job.html", page, desk.person, error.http_status)
    return RedirectResponse(f"/jobs/{number}", 303)


def new_job_form(said: Said, error: PrepcheckError | None = None) -> Form:
    """Return the form with what was typed."""
    return Form("/jobs/new", "Open the job", (*FIELDS, work_field()), said=said, error=error)


def work_field() -> Field:
    """Return the choice between the plans of steps that come with prepcheck."""
    kinds = tuple((name, load_work(name).title) for name in SHIPPED)
    return Field("work", "Kind of work", "It decides the steps and hold points", "choice", kinds, needed=True)


def work_of(said: Said) -> Work:
    """Return the plan of steps that was chosen: one that comes with prepcheck, never a path."""
    name = needed(said, "work", "the kind of work")
    if name not in SHIPPED:
        raise WrongUse("is no kind of work", f"Choose one of {', '.join(SHIPPED)}", name[:80])
    return load_work(name)


def opened(desk: Desk, said: Said) -> str:
    """Open a job, give it its plan, and return its number."""
    work = work_of(said)
    new = NewJob(
        title=needed(said, "title", "what is to be done"),
        part=said.get("part", ""),
        alloy=said.get("alloy", ""),
        wall_mm=optional_quantity(said.get("wall"), Kind.LENGTH, "the wall"),
        previous_contents=said.get("previous_contents", ""),
        customer_reference=said.get("customer_reference", ""),
    )
    job = tasks.open_job(desk.store, new, person=desk.person, at=desk.now)
    tasks.choose_work(desk.store, job.number, work, person=desk.person, at=desk.now, settings=desk.settings)
    return job.number
