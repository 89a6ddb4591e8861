"""The pages for people: one module each; they translate between a form and one use case, and fill a template."""

from fastapi import APIRouter

from prepcheck.web.pages import (
    count,
    count_point,
    count_results,
    help,
    inspection,
    job,
    jobs,
    laid,
    new_job,
    people,
    photo,
    plans,
    practice,
    practice_photo,
    readings,
    redraw,
    report,
    sign_in,
    spot,
    step,
    verify,
    work,
)
from prepcheck.web.pages.render import show, templates

routers: tuple[APIRouter, ...] = tuple(
    page.router
    for page in (
        jobs, new_job, job, spot, photo, inspection, laid, redraw, work,
        step, readings, plans, practice, practice_photo, count, count_results, count_point, report, verify, people, sign_in, help,
    )
)  # fmt: skip
"""One for each page; ``/jobs/new`` comes before ``/jobs/{number}``."""

__all__ = ["routers", "show", "templates"]
