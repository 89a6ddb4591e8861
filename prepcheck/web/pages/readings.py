"""``GET, POST /jobs/{number}/readings``: log what was read off, decided and seen, and what the readings so far say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from prepcheck import tasks
from prepcheck.errors import PrepcheckError
from prepcheck.report.entry_words import entry_words
from prepcheck.store import LoggedEvent, Story
from prepcheck.trade import entries as e
from prepcheck.trade.clearing import check_readings
from prepcheck.trade.facts import Remark
from prepcheck.trade.units import System
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.entry_forms import FORMS
from prepcheck.web.pages.forms import Form, Said, SentForm
from prepcheck.web.pages.render import show
from prepcheck.web.pages.said import when

router = APIRouter()
_OF_VESSEL = frozenset({"reading", "condition", "certificate"})
"""What is logged of the vessel, and is held against the readings so far."""
_LISTED = (e.GasReading, e.VesselCondition, e.Certificate, e.WallReading, e.LeakEntry, e.Note)
E = TypeVar("E", bound=e.EntryModel)


@dataclass(frozen=True)
class What:
    """A kind of entry that can be chosen."""

    key: str
    name: str
    chosen: bool


@dataclass(frozen=True)
class EntryRow:
    """A logged entry in one line."""

    words: str
    when: str
    person: str


@dataclass(frozen=True)
class ReadingsPage:
    """What can be logged, and what was."""

    number: str
    job: str
    whats: tuple[What, ...]
    form: Form
    live: bool
    logged: str
    remarks: tuple[Remark, ...]
    entries: tuple[EntryRow, ...]

    @property
    def title(self) -> str:
        """What is logged, and where."""
        return f"Readings and notes, {self.number}"


@router.get("/jobs/{number}/readings")
def ask(request: Request, desk: AtDesk, number: str, what: str = "reading", logged: int | None = None) -> HTMLResponse:
    """Ask for a reading or another entry."""
    return show(request, "readings.html", readings_page(desk, number, what, {}, logged), desk.person)


@router.post("/jobs/{number}/readings")
def log(request: Request, desk: AtDesk, number: str, said: SentForm) -> Response:
    """Log the entry, or ask again with what was wrong."""
    what = _known(said.get("what", ""))
    try:
        entry = FORMS[what].make(said, desk.now)
        event = tasks.log_entry(desk.store, number, entry, person=desk.person, at=desk.now, settings=desk.settings)
    except PrepcheckError as error:
        page = readings_page(desk, number, what, said, None, error)
        return show(request, "readings.html", page, desk.person, error.http_status)
    return RedirectResponse(f"/jobs/{number}/readings?what={what}&logged={event.number}", 303)


def readings_page(
    desk: Desk, number: str, what: str, said: Said, logged: int | None, error: PrepcheckError | None = None
) -> ReadingsPage:
    """Return the page; `logged` is the number of the entry that was logged just now."""
    story, chosen = tasks.job_story(desk.store, number), _known(what)
    events = [event for event in story.events if isinstance(event.entry, _LISTED)]
    system, zone = System(desk.settings.report.units), desk.now.tzinfo
    conditions, readings = _of(events, e.VesselCondition), _of(events, e.GasReading)
    return ReadingsPage(
        number=story.job.number,
        job=story.job.title,
        whats=tuple(What(key, one.name, key == chosen) for key, one in FORMS.items()),
        form=_form(story, chosen, said, error),
        live=chosen == "reading" and bool(conditions),
        logged=next((entry_words(one, system, brief=True) for one in events if one.number == logged), ""),
        remarks=tuple(_said(desk, conditions, readings)) if chosen in _OF_VESSEL else (),
        entries=tuple(
            EntryRow(entry_words(one, system, brief=True), when(one.at, zone), one.person) for one in reversed(events)
        ),
    )


def _known(what: str) -> str:
    return what if what in FORMS else "reading"


def _form(story: Story, what: str, said: Said, error: PrepcheckError | None) -> Form:
    one, first = FORMS[what], {"previous_contents": story.job.previous_contents, "spot": ""}
    return Form(
        f"/jobs/{story.job.number}/readings",
        "Log it",
        one.fields,
        one.rarely,
        hidden=(("what", what),),
        said=said or {name: text for name, text in first.items() if text},
        error=error,
        title=one.name,
        words=one.words,
    )


def _of(events: list[LoggedEvent], kind: type[E]) -> list[E]:
    return [event.entry for event in events if isinstance(event.entry, kind)]


def _said(desk: Desk, conditions: list[e.VesselCondition], readings: list[e.GasReading]) -> Iterator[Remark]:
    if conditions:
        system = System(desk.settings.report.units)
        yield from check_readings(conditions[-1], readings, desk.now, desk.settings.clearing, system)
