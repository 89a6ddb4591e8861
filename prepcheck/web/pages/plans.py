"""``GET, POST /plans/{what}``: work out figures for clearing, wall, weld and leak test, and log them to a job."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from prepcheck import tasks
from prepcheck.errors import PrepcheckError, UnknownRecord
from prepcheck.trade import typed
from prepcheck.trade.facts import Remark, Weight
from prepcheck.trade.plan import Plan, as_entry
from prepcheck.trade.plans import Asked, looks_among
from prepcheck.trade.units import System
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.forms import Field, Form, Said, SentForm
from prepcheck.web.pages.plan_forms import PLANS, PlanForm
from prepcheck.web.pages.render import show

router = APIRouter()
_MOST_JOBS = 50


@dataclass(frozen=True)
class PlanLink:
    """A plan in the list."""

    key: str
    name: str
    words: str


@dataclass(frozen=True)
class PlansPage:
    """All plans."""

    plans: tuple[PlanLink, ...] = tuple(PlanLink(key, one.name, one.words) for key, one in PLANS.items())
    title: str = "Plans"


@dataclass(frozen=True)
class PlanPage:
    """One plan's form, and the plan once there is one; `logged` names the job that it was logged in."""

    name: str
    words: str
    form: Form
    plan: Plan | None = None
    logged: str = ""

    @property
    def title(self) -> str:
        """The plan's name."""
        return self.name

    @property
    def rest(self) -> tuple[Remark, ...]:
        """Remarks beside those that hold."""
        return () if self.plan is None else tuple(one for one in self.plan.remarks if one.weight is not Weight.HOLD)


@router.get("/plans")
def plans(request: Request, desk: AtDesk) -> HTMLResponse:
    """List the plans."""
    return show(request, "plans.html", PlansPage(), desk.person)


@router.get("/plans/{what}")
def ask(request: Request, desk: AtDesk, what: str) -> HTMLResponse:
    """Ask what a plan is made from."""
    return show(request, "plan.html", _page(desk, what, {}), desk.person)


@router.post("/plans/{what}")
def work_out(request: Request, desk: AtDesk, what: str, said: SentForm) -> HTMLResponse:
    """Work the plan out, and log it where a job was named."""
    page = _page(desk, what, said)
    try:
        plan, job = _plan(desk, _form_of(what), said), said.get("job", "")
        logged = _logged(desk, plan, job) if job else ""
    except PrepcheckError as error:
        failed = replace(page, form=replace(page.form, error=error))
        return show(request, "plan.html", failed, desk.person, error.http_status)
    return show(request, "plan.html", replace(page, plan=plan, logged=logged), desk.person)


def _form_of(what: str) -> PlanForm:
    if what not in PLANS:
        raise UnknownRecord("is no plan", f"Known: {', '.join(PLANS)}", what[:40])
    return PLANS[what]


def _page(desk: Desk, what: str, said: Said) -> PlanPage:
    one = _form_of(what)
    form = Form(f"/plans/{what}", "Work it out", one.fields, (*one.rarely, *_always(desk)), said=said)
    return PlanPage(one.name, one.words, form)


def _always(desk: Desk) -> tuple[Field, ...]:
    jobs = tuple(
        (one.job.number, f"{one.job.number} {one.job.title}") for one in tasks.list_jobs(desk.store, newest=_MOST_JOBS)
    )
    units = (("metric", "metric"), ("us", "US customary"))
    return (
        Field("units", "Units of the plan", kind="list", choices=units, value=desk.settings.report.units),
        Field("job", "Log it in a job", "The plan is kept word for word", "list", (("", "do not log it"), *jobs)),
    )


def _plan(desk: Desk, one: PlanForm, said: Said) -> Plan:
    units = typed.word(said.get("units", desk.settings.report.units), System, "the units")
    events = tasks.job_story(desk.store, said["job"]).events if "job" in said else ()
    looks = looks_among(event.entry for event in events)
    return one.make(Asked(said, desk.settings.shown_in(units), desk.now, looks))


def _logged(desk: Desk, plan: Plan, job: str) -> str:
    tasks.log_entry(desk.store, job, as_entry(plan), person=desk.person, at=desk.now, settings=desk.settings)
    return tasks.job_story(desk.store, job).job.number
