"""Command line: one short module per command. Nothing heavy is imported before a command runs."""

from __future__ import annotations

import io
import sys
from typing import Annotated

import typer

from prepcheck import __version__
from prepcheck.cli import demo, disagree, evaluate, inspect, job
from prepcheck.errors import PrepcheckError

app = typer.Typer(
    name="prepcheck",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="A second pair of eyes on ground aluminium before welding: where residue is left, how sure, with evidence kept.",
    epilog="Exit codes: 0 every spot bright, 1 a person is needed, 2 wrong use, 3 broken file, model or store.",
)
app.command("inspect")(inspect.inspect)
app.command("demo")(demo.demo)
app.command("disagree")(disagree.disagree)
app.command("evaluate")(evaluate.evaluate)
app.add_typer(job.app, name="job")


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


def run() -> None:
    """Run the command line; an error of prepcheck is one line on standard error and its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        app()
    except PrepcheckError as error:
        typer.echo(f"prepcheck: {error.message}", err=True)
        sys.exit(error.exit_code)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
