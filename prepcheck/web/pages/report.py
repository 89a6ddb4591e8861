"""``GET /jobs/{number}/report``: the report of a job, as a page or as a PDF."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from prepcheck import tasks
from prepcheck.errors import PrepcheckError
from prepcheck.report.card_sheet import Paper
from prepcheck.trade.units import System
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.render import show
from prepcheck.web.shop import Shop, TheShop

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
def as_page(shop: TheShop, desk: AtDesk, number: str, units: System | None = None) -> Response:
    """Return the report as one page that needs nothing else."""
    data, _ = _written(shop, desk, number, units, None)
    return HTMLResponse(data, headers={"Content-Security-Policy": _POLICY})


@router.get("/jobs/{number}/report.pdf")
def as_pdf(
    shop: TheShop, desk: AtDesk, number: str, units: System | None = None, paper: Paper | None = None
) -> Response:
    """Return the report as a PDF."""
    data, job = _written(shop, desk, number, units, paper or Paper(desk.settings.report.paper))
    name = f'inline; filename="{job}-report.pdf"'
    return Response(data, media_type="application/pdf", headers={"Content-Disposition": name})


def _written(shop: Shop, desk: Desk, number: str, units: System | None, paper: Paper | None) -> tuple[bytes, str]:
    """Return the report, and the job's number as it is written."""
    job = tasks.job_story(desk.store, number).job.number
    return shop.works.write_report(job, desk.now, units or System(desk.settings.report.units), paper), job
