"""``prepcheck step``: choose a job's plan of steps, say that a step is done, release a hold point, open a step again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.commands import Commands
from prepcheck.cli.moment import HELP, moment, now
from prepcheck.cli.options import JobNumber, Json, LogOptions
from prepcheck.cli.output import print_json, print_rich
from prepcheck.cli.pins import PinFile, given_pin, pin_of

if TYPE_CHECKING:
    from prepcheck.settings import Settings
    from prepcheck.store import LoggedEvent
    from prepcheck.store.store import Store as OpenLog

app = Commands(
    "The job's steps and hold points. The program proposes; a person says done, and only a named person releases.",
)
StepName = Annotated[str, typer.Argument(metavar="STEP", help='The step\'s name in the plan, such as "look over".')]
Reason = Annotated[str, typer.Option(help="Why, in your words.")]


@dataclass(frozen=True)
class Saying:
    """Who says so, and how that is told."""

    person: Annotated[str, typer.Option(help="Who says so.")]
    pin_file: PinFile = None
    json: Json = False


@dataclass(frozen=True)
class Answering:
    """That a person answers for what speaks against it, and why; the names are those of the use cases."""

    override: Annotated[
        bool, typer.Option("--override", help="Although something speaks against it; needs --reason.")
    ] = False
    reason: Reason = ""


@app.command()
def plan(
    job: JobNumber,
    work: Annotated[
        str, typer.Argument(help="closed-vessel, open-vessel, plain-part, or a plan file of your own (.toml).")
    ],
    by: Saying,
    where: LogOptions,
) -> None:
    """Give a job its plan of steps. It is logged word for word; a later change of the file changes nothing."""
    from prepcheck import tasks
    from prepcheck.trade.work import load_work

    log, _, settings = where.open()
    chosen, pin = load_work(work), given_pin(by.pin_file)
    event = tasks.choose_work(log, job, chosen, person=by.person, at=now(), pin=pin, settings=settings)
    _say(log, job, event, f"The plan is {chosen.name}.", by.json, settings)


@app.command()
def template(
    work: Annotated[str, typer.Argument(help="closed-vessel, open-vessel or plain-part.")],
) -> None:
    """Print a plan that comes with prepcheck, to be saved, changed to how the shop works, and named with step plan."""
    from prepcheck.trade.work import load_work

    typer.echo(load_work(work).text, nl=False)


@app.command()
def done(
    job: JobNumber,
    step: StepName,
    *,
    note: Annotated[str, typer.Option(help="Anything worth keeping.")] = "",
    started: Annotated[str | None, typer.Option(help=f"When the work on it began. {HELP}")] = None,
    answers: Answering,
    by: Saying,
    where: LogOptions,
) -> None:
    """Say that a step is done."""
    from prepcheck import tasks

    at = now()
    log, _, settings = where.open()
    event = tasks.mark_step(
        log,
        job,
        step,
        person=by.person,
        at=at,
        note=note,
        started_at=None if started is None else moment(started, at, "the start"),
        **vars(answers),
        pin=pin_of(log, by.person, by.pin_file) if answers.override else given_pin(by.pin_file),
        settings=settings,
    )
    _say(log, job, event, "Logged as done.", by.json, settings)


@app.command()
def release(job: JobNumber, step: StepName, answers: Answering, by: Saying, where: LogOptions) -> None:
    """Release a hold point under your name. What speaks against it has to be settled, or answered for with a reason."""
    from prepcheck import tasks

    log, _, settings = where.open()
    event = tasks.release_step(
        log,
        job,
        step,
        person=by.person,
        pin=pin_of(log, by.person, by.pin_file),
        at=now(),
        **vars(answers),
        settings=settings,
    )
    _say(log, job, event, "Logged as released.", by.json, settings)


@app.command()
def reopen(job: JobNumber, step: StepName, reason: Reason, by: Saying, where: LogOptions) -> None:
    """Open a step again, and with it every step that needs it."""
    from prepcheck import tasks

    log, _, settings = where.open()
    pin = given_pin(by.pin_file)
    event = tasks.reopen_step(log, job, step, person=by.person, reason=reason, at=now(), pin=pin, settings=settings)
    _say(log, job, event, "Logged as open again.", by.json, settings)


def _say(log: OpenLog, job: str, event: LoggedEvent, what: str, json: bool, settings: Settings) -> None:
    """Print the entry and how the steps stand now."""
    from prepcheck import tasks
    from prepcheck.cli.steps_text import steps_text

    if json:
        print_json(event)
        return
    story = tasks.job_story(log, job)
    typer.echo(f"{what} Entry {event.number} of {story.job.number}, {event.person}.")
    state = tasks.story_state(story, now(), settings)
    if state is not None:
        print_rich(steps_text(state))
