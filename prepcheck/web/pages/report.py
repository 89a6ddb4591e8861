"""``GET /jobs/{number}/report``: the report of a job, as a page or as a PDF."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from prepcheck import tasks
from prepcheck.errors import PrepcheckError
from prepcheck.report.card_sheet import Paper
from prepcheck.store import Story
from prepcheck.store.words import job_number
from prepcheck.trade.units import System
from prepcheck.web.looker import ReportAsked
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.render import show
from prepcheck.web.shop import Shop, TheShop

router = APIRouter()
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; sandbox"
"""The report bears its own style; it cannot load, send or run anything."""
HELD_S = 8.0
"""Seconds for which a question is held; most reports are written by then."""


@dataclass(frozen=True)
class ReportPage:
    """Links to the report."""

    number: str
    job: str
    error: PrepcheckError | None = None
    systems: tuple[tuple[str, str], ...] = (("metric", "In metric units"), ("us", "In US customary units"))
    papers: tuple[tuple[str, str], ...] = (("a4", "A4"), ("letter", "Letter"))

    @property
    def title(self) -> str:
        """Of which job."""
        return f"Report of {self.number}"


@dataclass(frozen=True)
class WaitPage:
    """A report that takes long: for how many seconds by now, and how many photos it hatches."""

    number: str
    seconds: int
    photos: int

    @property
    def title(self) -> str:
        """Of which job."""
        return f"Report of {self.number}"


@router.get("/jobs/{number}/report")
def ask(request: Request, desk: AtDesk, number: str) -> HTMLResponse:
    """Show what the report can be had as."""
    job = tasks.job_story(desk.store, number).job
    return show(request, "report.html", ReportPage(job.number, job.title), desk.person)


@router.get("/jobs/{number}/report.html")
def as_page(request: Request, shop: TheShop, desk: AtDesk, number: str, units: System | None = None) -> Response:
    """Return the report as one page that needs nothing else, or how far it is."""
    written = _written(request, shop, desk, number, units, None)
    return (
        written
        if isinstance(written, Response)
        else HTMLResponse(written, headers={"Content-Security-Policy": _POLICY})
    )


@router.get("/jobs/{number}/report.pdf")
def as_pdf(
    request: Request, shop: TheShop, desk: AtDesk, number: str, units: System | None = None, paper: Paper | None = None
) -> Response:
    """Return the report as a PDF, or how far it is."""
    written = _written(request, shop, desk, number, units, paper or Paper(desk.settings.report.paper))
    if isinstance(written, Response):
        return written
    name = f'inline; filename="{job_number(number)}-report.pdf"'
    return Response(written, media_type="application/pdf", headers={"Content-Disposition": name})


def _written(
    request: Request, shop: Shop, desk: Desk, number: str, units: System | None, paper: Paper | None
) -> bytes | Response:
    """Return the report, or where it takes long a page that says so and asks again."""
    story = tasks.job_story(desk.store, number)
    system = units or System(desk.settings.report.units)
    asked = ReportAsked(desk.store.address, desk.settings, story.job.number, desk.now, system, paper)
    writing = shop.reports.ask(asked)
    try:
        data = writing.wait(HELD_S)
    except PrepcheckError:
        shop.reports.taken(writing)
        raise
    if data is None:
        page = WaitPage(story.job.number, round(shop.reports.waited(writing)), _photos(story))
        return show(request, "report_wait.html", page, desk.person, 202)
    shop.reports.taken(writing)
    return data


def _photos(story: Story) -> int:
    return sum(len(one.photos) or 1 for one in story.inspections)
