"""``GET /jobs/{number}/report``: the report of a job, as a page or as a PDF."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from prepcheck import tasks
from prepcheck.errors import PrepcheckError
from prepcheck.report.card_sheet import Paper
from prepcheck.report.job.build import report_of
from prepcheck.report.job.gather import gather
from prepcheck.report.job.page import page_of
from prepcheck.report.job.told import Told
from prepcheck.report.job.write import report_pdf
from prepcheck.surface import Model, load_model
from prepcheck.tasks.shop_fit import shop_model
from prepcheck.trade.units import System
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.render import show

router = APIRouter()
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; sandbox"
"""The report bears its own style; it cannot load, send or run anything."""


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


@router.get("/jobs/{number}/report")
def ask(request: Request, desk: AtDesk, number: str) -> HTMLResponse:
    """Show what the report can be had as."""
    job = tasks.job_story(desk.store, number).job
    return show(request, "report.html", ReportPage(job.number, job.title), desk.person)


@router.get("/jobs/{number}/report.html")
def as_page(desk: AtDesk, number: str, units: System | None = None) -> Response:
    """Return the report as one page that needs nothing else."""
    text = page_of(report_of(_told(desk, number, units)))
    return HTMLResponse(text, headers={"Content-Security-Policy": _POLICY})


@router.get("/jobs/{number}/report.pdf")
def as_pdf(desk: AtDesk, number: str, units: System | None = None, paper: Paper | None = None) -> Response:
    """Return the report as a PDF."""
    told = _told(desk, number, units)
    data = report_pdf(report_of(told), paper or Paper(desk.settings.report.paper))
    name = f'inline; filename="{told.story.job.number}-report.pdf"'
    return Response(data, media_type="application/pdf", headers={"Content-Disposition": name})


def _told(desk: Desk, number: str, units: System | None) -> Told:
    story = tasks.job_story(desk.store, number)
    system = units or System(desk.settings.report.units)

    def model() -> Model:
        return shop_model(desk.store, desk.settings, load_model())

    return gather(desk.store, desk.archive.get, story, desk.now, desk.settings, system, model)
