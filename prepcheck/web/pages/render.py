"""Fills templates: each page is a frozen dataclass with its `title`, told to the template as `page`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.templating import Jinja2Templates

from prepcheck.terms import CAUTION_LINE, HOT_WORK_LINE
from prepcheck.web.pages.said import LEADS


class Page(Protocol):
    """What every page has."""

    @property
    def title(self) -> str:
        """Its name, as the browser shows it."""


@dataclass(frozen=True)
class Place:
    """A place in the bar under the thumb."""

    name: str
    url: str
    icon: str


PLACES = (
    Place("Jobs", "/", "jobs"),
    Place("Plans", "/plans", "plans"),
    Place("Learn", "/practice", "learn"),
    Place("Verify", "/verify", "check"),
    Place("Help", "/help", "help"),
)


HEADINGS = {
    401: "Not signed in",
    403: "Not allowed",
    404: "Not found",
    409: "Held up",
    413: "Too large",
    429: "Wait a little",
}
"""Headings of errors by their HTTP status."""


@dataclass(frozen=True)
class Frame:
    """What stands around every page: who is signed in, and which place of the bar it belongs to."""

    who: str = ""
    here: str = ""
    places: tuple[Place, ...] = PLACES


def _environment() -> Environment:
    """Everything is escaped, and a name that the template does not know is a fault."""
    loader = FileSystemLoader(Path(__file__).parent.parent / "templates")
    made = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    made.globals.update(leads=LEADS, caution_line=CAUTION_LINE, hot_work_line=HOT_WORK_LINE)
    made.globals.update(frame=Frame(), headings=HEADINGS)
    return made


templates = Jinja2Templates(env=_environment())


def show(
    request: Request,
    template: str,
    page: Page,
    who: str,
    status: int = 200,
    headers: Mapping[str, str] | None = None,
) -> HTMLResponse:
    """Return a page as HTML."""
    context = {"page": page, "frame": Frame(who, place_of(request.url.path))}
    return templates.TemplateResponse(request, template, context, status, headers)


def place_of(path: str) -> str:
    """Return the address of the place in the bar that a path belongs to; empty for none."""
    if path == "/" or path.startswith(("/jobs", "/inspections")):
        return "/"
    if path.startswith("/count"):
        return "/practice"
    return next((place.url for place in PLACES[1:] if path.startswith(place.url)), "")
