"""``GET, POST /jobs/{number}/steps/{step}``: say that a step is done, release a hold point, open a step again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from prepcheck import tasks
from prepcheck.errors import PrepcheckError, WrongUse
from prepcheck.store import LoggedEvent
from prepcheck.store.words import NOTE
from prepcheck.trade.facts import Remark
from prepcheck.trade.steps import JobState, Progress, StepState, before_doing
from prepcheck.web.pages.desk import AtDesk, Desk
from prepcheck.web.pages.forms import Field, Form, Said, SentForm, moment, needed
from prepcheck.web.pages.render import show
from prepcheck.web.pages.said import progress_words

router = APIRouter()
_PIN = Field("pin", "Your PIN", "Asked again at every release, so that it is you who releases", "pin", needed=True,
             complete="current-password")  # fmt: skip
_OVERRIDE_PIN = Field("pin", "Your PIN, if held up", "Needed once somebody in this log may release", "pin",
                      complete="current-password")  # fmt: skip
_REASON = Field("reason", "Reason", kind="text area", needed=True, most=NOTE)
_NOTE = Field("note", "Note", kind="text area", most=NOTE)
_STARTED = Field("started", "When the work on it began", 'Such as "13:40"; now if left empty', "time", most=20)
_OVERRIDE = Field("override", "Do it all the same, under my name",
                  "What holds it up is logged with it, and your reason", "tick")  # fmt: skip
_WHY = Field("reason", "Reason, if held up", kind="text area", most=NOTE)


@dataclass(frozen=True)
class StepPage:
    """One step of a job's plan, and what can be said about it."""

    number: str
    job: str
    name: str
    what: str
    words: str
    needs: str
    note: str
    against: tuple[str, ...]
    remarks: tuple[Remark, ...]
    readings: bool
    forms: tuple[Form, ...]
    error: PrepcheckError | None = None

    @property
    def title(self) -> str:
        """Step and job."""
        return f"{self.name}, {self.number}"


@router.get("/jobs/{number}/steps/{step}")
def one_step(request: Request, desk: AtDesk, number: str, step: str) -> HTMLResponse:
    """Show a step."""
    return show(request, "step.html", step_page(desk, number, step), desk.person)


@router.post("/jobs/{number}/steps/{step}")
def act(request: Request, desk: AtDesk, number: str, step: str, said: SentForm) -> Response:
    """Say that the step is done, release it, or open it again."""
    try:
        _DO[_what(said)](desk, number, step, said)
    except PrepcheckError as error:
        page = step_page(desk, number, step, said, error)
        return show(request, "step.html", page, desk.person, error.http_status)
    return RedirectResponse(f"/jobs/{number}", 303)


def _what(said: Said) -> str:
    if said.get("do") not in _DO:
        raise WrongUse("nobody said what to do with the step", "Press one of its buttons")
    return said["do"]


def _done(desk: Desk, number: str, step: str, said: Said) -> None:
    tasks.mark_step(
        desk.store, number, step, person=desk.person, at=desk.now, note=said.get("note", ""),
        started_at=moment(said, "started", desk.now, "the start") if "started" in said else None,
        override="override" in said, reason=said.get("reason", ""), pin=said.get("pin"), settings=desk.settings,
    )  # fmt: skip


def _release(desk: Desk, number: str, step: str, said: Said) -> None:
    tasks.release_step(
        desk.store, number, step, person=desk.person, pin=said.get("pin"), at=desk.now,
        reason=said.get("reason", ""), override="override" in said, settings=desk.settings,
    )  # fmt: skip


def _reopen(desk: Desk, number: str, step: str, said: Said) -> None:
    why = needed(said, "reason", "the reason")
    tasks.reopen_step(desk.store, number, step, person=desk.person, reason=why, at=desk.now, settings=desk.settings)


_DO = {"done": _done, "release": _release, "reopen": _reopen}


def step_page(
    desk: Desk, number: str, name: str, said: Said | None = None, error: PrepcheckError | None = None
) -> StepPage:
    """Return the page of a step."""
    story = tasks.job_story(desk.store, number)
    state = tasks.story_state(story, desk.now, desk.settings)
    if state is None:
        raise WrongUse("has no plan of steps yet", "Choose one on the job's page", story.job.number)
    one = state.find(name)
    remarks = _remarks(desk, state, one, story.events)
    return StepPage(
        number=story.job.number,
        job=story.job.title,
        name=one.step.name,
        what=one.step.title,
        words=progress_words(one, desk.now.tzinfo),
        needs=", ".join(one.step.needs),
        note=one.note,
        against=one.against,
        remarks=remarks,
        readings=bool(one.step.evidence) and not one.progress.finished,
        forms=tuple(_forms(one, f"/jobs/{story.job.number}/steps/{name}", said or {})),
        error=error,
    )


def _remarks(desk: Desk, state: JobState, one: StepState, events: Sequence[LoggedEvent]) -> tuple[Remark, ...]:
    """Return what is to be said about the step, with what stands over the whole job."""
    if one.progress.finished or one.progress is Progress.HELD:
        return one.remarks
    early = before_doing(state, one.step.name, events, desk.now, desk.settings)
    return tuple(dict.fromkeys((*early, *one.remarks)))


def _forms(one: StepState, action: str, said: Said) -> Iterator[Form]:
    do = said.get("do")
    if one.progress is Progress.HELD:
        words = (
            "You release it under your name. What holds it up has to be settled first, or answered for with a reason."
        )
        fields = (_PIN, *((_OVERRIDE, _WHY) if one.blocks else ()))
        yield _form("release", "Release it", action, fields, said if do == "release" else {}, words)
    if one.progress in (Progress.OPEN, Progress.NEXT):
        held = (_OVERRIDE, _WHY, _OVERRIDE_PIN) if one.blocks else ()
        words = "It then waits until a named person releases it." if one.step.hold_point else ""
        yield _form("done", "It is done", action, (_STARTED, _NOTE, *held), said if do == "done" else {}, words)
    else:
        words = "Every step that needs it is opened with it."
        yield _form("reopen", "Open it again", action, (_REASON,), said if do == "reopen" else {}, words)


def _form(do: str, title: str, action: str, fields: tuple[Field, ...], said: Said, words: str) -> Form:
    kept = {name: value for name, value in said.items() if name != "pin"}
    return Form(
        action,
        title,
        fields,
        hidden=(("do", do),),
        said=kept,
        title=title,
        words=words,
        prefix=f"{do}-",
        lesser=do == "reopen",
    )
