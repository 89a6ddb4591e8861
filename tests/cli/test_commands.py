"""Options that belong together are one parameter of a command."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import pytest
import typer
from typer.testing import CliRunner

from prepcheck.cli.commands import Commands, said_by


@dataclass(frozen=True)
class Paint:
    """A group."""

    colour: Annotated[str, typer.Option(help="Which colour.")]
    coats: Annotated[list[int] | None, typer.Option("--coat", help="Thickness of a coat.")] = None
    primer: Annotated[bool, typer.Option("--primer")] = False


app = Commands("Paint things.")


@app.command()
def wall(name: str, *, loud: bool = False, paint: Paint) -> None:
    """Paint a wall."""
    typer.echo(f"{name} {loud} {paint}")


@app.command("list")
def list_() -> None:
    """List walls."""


def run(*arguments: str) -> str:
    return CliRunner().invoke(app, ["wall", *arguments]).output


def test_the_fields_of_a_group_are_options_of_the_command() -> None:
    said = run("north", "--colour", "grey", "--coat", "40", "--coat", "60", "--primer")
    assert said == f"north False {Paint('grey', [40, 60], True)}\n"


def test_fields_with_a_default_may_be_left_out() -> None:
    assert run("north", "--colour", "grey", "--loud") == f"north True {Paint('grey')}\n"


def test_fields_without_a_default_are_needed() -> None:
    assert "Missing option '--colour'" in run("north")


def test_help_shows_the_options_of_a_group_where_it_stands() -> None:
    said = run("--help")
    assert said.index("--loud") < said.index("--colour") < said.index("--coat")
    assert "Paint a wall." in said


def test_the_function_itself_takes_the_group(capsys: pytest.CaptureFixture[str]) -> None:
    wall("south", paint=Paint("red"))
    assert capsys.readouterr().out == f"south False {Paint('red')}\n"


def test_what_was_typed_leaves_out_what_was_not() -> None:
    assert said_by(Paint("grey")) == {"colour": "grey"}
    assert said_by(Paint("grey", [])) == {"colour": "grey"}


def test_what_was_typed_is_text_on_a_line_each() -> None:
    assert said_by(Paint("grey", [40, 60], True)) == {"colour": "grey", "coats": "40\n60", "primer": "yes"}


def test_nought_was_typed_too() -> None:
    assert said_by(Paint(0)) == {"colour": "0"}  # type: ignore[arg-type]
