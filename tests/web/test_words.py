"""What the page says is said without a command line: no option and no command in errors and flags that it can show."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import prepcheck
from prepcheck import errors
from prepcheck.terms import FLAGS

SOURCE = Path(prepcheck.__file__).parent
NO_PAGE = ("cli/", "train/", "evaluate/", "synth/", "batch/", "agreement/", "progress/", "samples.py", "looking.py",
           "report/outputs.py", "archive/bag_write.py", "archive/job_seal.py", "archive/timestamp.py")  # fmt: skip
"""What only the command line asks for, or, in these files, what only it can get wrong."""
COMMAND = re.compile(
    r"--[a-z]|\bprepcheck (job|person|people|step|log|plan|seal|verify|card|serve|inspect|calibrate|practice|count)\b"
)
KINDS = {name for name, kind in vars(errors).items() if isinstance(kind, type) and issubclass(kind, Exception)}


def modules():
    return [path for path in SOURCE.rglob("*.py") if not path.relative_to(SOURCE).as_posix().startswith(NO_PAGE)]


def said(path):
    """Yield what the errors made in a module say, each as its line and its text."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and getattr(node.func, "id", getattr(node.func, "attr", "")) in KINDS:
            texts = [one for arg in node.args for one in ast.walk(arg) if isinstance(one, ast.Constant)]
            yield node.lineno, " ".join(one.value for one in texts if isinstance(one.value, str))


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(SOURCE)))
def test_errors_keep_options_and_commands_apart(path):
    assert [(line, text) for line, text in said(path) if COMMAND.search(text)] == []


def test_the_errors_are_found_at_all():
    assert sum(len(list(said(path))) for path in modules()) > 150


@pytest.mark.parametrize("card", FLAGS.values(), ids=lambda card: card.code)
def test_flags_keep_options_and_commands_apart(card):
    assert not COMMAND.search(f"{card.what} {card.why} {card.action}")


def test_the_command_line_says_the_command_and_the_page_does_not(phone):
    error = errors.UnknownRecord("no such job", "Choose one", "J-9", command="prepcheck job list")
    assert error.message == "J-9: no such job. Choose one (prepcheck job list)."
    assert error.plain == "J-9: no such job. Choose one."
    told = phone.get("/api/jobs/J-0009").json()["error"]["message"]
    assert told == "J-0009: no such job in this log. Choose one of the jobs of this log."
