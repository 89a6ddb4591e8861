"""Command line: one short module per command. Nothing heavy is imported before a command runs."""

from __future__ import annotations

import io
import re
import sys
from typing import Annotated

import typer

from prepcheck import __version__
from prepcheck.cli import (
    batch,
    calibrate,
    card,
    cluster,
    count,
    demo,
    disagree,
    entry,
    erase,
    evaluate,
    inspect,
    job,
    key,
    people,
    person,
    photos,
    plan,
    practice,
    report,
    seal,
    serve,
    step,
    timestamp,
    verify,
)
from prepcheck.cli.commands import Commands
from prepcheck.errors import CannotWrite, PrepcheckError, WrongUse, printable

app = Commands(
    "A second pair of eyes on ground aluminium before welding: where residue is left, how sure, with evidence kept.",
    name="prepcheck",
    add_completion=False,
    pretty_exceptions_enable=False,
    epilog="Exit codes: 0 every spot bright, 1 a person is needed, 2 wrong use, 3 broken file, model or store.",
)
app.command("inspect")(inspect.inspect)
app.command("batch")(batch.batch)
app.command("card")(card.card)
app.command("demo")(demo.demo)
app.command("disagree")(disagree.disagree)
app.command("evaluate")(evaluate.evaluate)
app.add_typer(cluster.app, name="cluster")
app.add_typer(count.app, name="count")
app.add_typer(calibrate.app, name="calibrate")
app.add_typer(job.app, name="job")
app.add_typer(step.app, name="step")
app.add_typer(entry.app, name="log")
app.add_typer(person.app, name="person")
app.add_typer(people.app, name="people")
app.add_typer(photos.app, name="photos")
app.add_typer(erase.app, name="erase")
app.add_typer(plan.app, name="plan")
app.add_typer(practice.app, name="practice")
app.command("report")(report.report)
app.command("seal")(seal.seal)
app.command("verify")(verify.verify)
app.command("timestamp")(timestamp.timestamp)
app.add_typer(key.app, name="key")
app.command("serve")(serve.serve)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"prepcheck {__version__}")
        raise typer.Exit


@app.callback()
def options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """A second pair of eyes on ground aluminium before welding."""


_GUESS = re.compile(r"\.? Did you mean (.+?)\?$")


def run() -> None:
    """Run the command line; an error of prepcheck is one line on standard error and its exit code."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # a screen that cannot show a letter shows its escape
    try:
        code = app(prog_name="prepcheck", standalone_mode=False)
    except PrepcheckError as error:
        code = _say(error)
    except typer.TyperException as error:
        code = _say_usage(error)
    except OSError as error:
        where = printable(str(error.filename or "standard output"))
        code = _say(CannotWrite(f"cannot be used ({error.strerror})", "Choose another place", where))
    sys.exit(code if isinstance(code, int) else 0)


def _say(error: PrepcheckError) -> int:
    typer.echo(f"prepcheck: {error.message}", err=True)
    return error.exit_code


def _say_usage(error: typer.TyperException) -> int:
    said = _GUESS.sub(r" (did you mean \1?)", error.format_message().replace("Value error, ", ""))
    if said.startswith("Usage:"):  # the help, for a command without anything behind it
        typer.echo(said, err=True)
        return error.exit_code
    command = getattr(getattr(error, "ctx", None), "command_path", "prepcheck")
    dash = ""
    if said.startswith("No such option"):
        number = said.partition("-")[2][:1].isdigit()
        dash = "; no number below zero goes here" if number else "; put -- before a file name with a leading dash"
    return _say(WrongUse(said.rstrip(".?"), f"See {command} --help{dash}"))
