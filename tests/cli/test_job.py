"""Jobs on the command line: what a person reads, at the desk and on a phone."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.__main__ import main
from prepcheck.settings import Settings
from prepcheck.store import NewJob
from prepcheck.terms import CAUTION_LINE, HOT_WORK_LINE
from tests.store.records import AT, PLACE, drawn_by_person, record_for, spot


@dataclass(frozen=True)
class Done:
    """How a command ended."""

    returncode: int
    stdout: str
    stderr: str


def prepcheck(*arguments: str, store: Path, width: int = 80) -> Done:
    """Run the command, as if in a terminal of `width` columns."""
    out, err, code = io.StringIO(), io.StringIO(), 0
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setenv("COLUMNS", str(width))
        patch.setenv("PREPCHECK_STORE", str(store))
        patch.setattr(sys, "argv", ["prepcheck", *arguments])
        try:
            main()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0
    return Done(code, out.getvalue(), err.getvalue())


@pytest.fixture(scope="module")
def told(tmp_path_factory) -> Path:
    """A log with a job that has a bit of everything."""
    folder = tmp_path_factory.mktemp("log")
    store, archive = tasks.open_log(folder, Settings())
    new = NewJob("Bowser, crack at the neck", "Filler neck, left seam", "5083, stamped", 5.0, "diesel", "CO-OP 114")
    tasks.open_job(store, new, person="Ida", at=AT)
    tasks.open_job(store, NewJob("[bold]Lid[/bold]"), person="Ida", at=AT)
    where = {**PLACE, "spot": "filler neck"}
    record = record_for(b"1", spot(), position=(47.123456, 9.654321))
    tasks.log_inspection(store, archive, record, b"1", **where)
    person = drawn_by_person(spot(2, "cannot tell", "person"), spot(3), refused={1: "that is primer"})
    record = record_for(b"2", spot(), by_person=person)
    tasks.log_inspection(store, archive, record, b"2", **{**where, "pass_no": 2}, outline_number=2, note="new disc")
    tasks.log_inspection(store, archive, record_for(b"1", spot()), b"1", **{**PLACE, "spot": "2"}, corrects=1)
    tasks.disagree(store, 2, standing="bright", reason="A brushed stain.", person="Jon", at=AT)
    return folder


@pytest.fixture(scope="module")
def story(told) -> str:
    return prepcheck("job", "show", "1", store=told).stdout


def test_a_new_job_is_opened_and_its_number_printed(tmp_path):
    done = prepcheck("job", "new", "Bowser", "--person", "Ida", "--wall-mm", "5", store=tmp_path)
    assert done.stdout.startswith("J-0001 opened: Bowser\n")
    assert done.returncode == 0


def test_a_new_job_as_json_is_one_line(tmp_path):
    done = prepcheck("job", "new", "Zoë", "--person", "Ida", "--alloy", "5083", "--json", store=tmp_path)
    (line,) = done.stdout.splitlines()
    assert json.loads(line) | {"number": "J-0001", "title": "Zoë", "alloy": "5083", "wall_mm": None} == json.loads(line)


@pytest.mark.parametrize(
    "part",
    [
        "J-0001  Bowser, crack at the neck",
        "Filler neck, left seam",
        "5083, stamped",
        "5 mm",
        "diesel",
        "CO-OP 114",
        "Spot 1, filler neck",
        "Pass 1: residue left, score 82 (74 to 89)",
        "2026-11-24 10:12, Ida: inspection 1, photo bowser.jpg",
        "flags: no scale",
        "corrected by inspection 3",
        "Pass 2: cannot tell",
        "outline 2 drawn by Ida",
        "the tool's answer with its own outlines: residue left",
        "outlines in the photo not assigned to a spot: 3",
        "outline 1 refused by Ida: that is primer",
        "note: new disc",
        "Jon disagrees: bright. A brushed stain.",
        "corrects inspection 1",
    ],
)
def test_the_story_tells(story, part):
    assert part in story


@pytest.mark.parametrize("line", [CAUTION_LINE, HOT_WORK_LINE])
def test_the_story_ends_with_the_cautions(story, line):
    assert line in " ".join(story.split())


@pytest.mark.parametrize("arguments", [["show", "1"], ["show", "1", "--json"], ["list"], ["list", "--json"]])
def test_the_position_is_never_shown(told, arguments):
    assert "47.1" not in prepcheck("job", *arguments, store=told).stdout


@pytest.mark.parametrize("arguments", [["show", "1"], ["list"]])
def test_lines_keep_within_a_narrow_screen(told, arguments):
    lines = prepcheck("job", *arguments, store=told, width=50).stdout.splitlines()
    assert max(map(len, lines)) <= 50


def test_what_people_typed_is_never_read_as_markup(told):
    assert "[bold]Lid[/bold]" in prepcheck("job", "list", store=told).stdout


def test_the_list_says_how_much_was_logged_and_the_last_standing(told):
    said = prepcheck("job", "list", store=told).stdout
    assert "last residue left on 2026-11-24, 3 inspections of 2 spots" in said


def test_the_list_as_json_has_a_line_for_each_job(told):
    lines = prepcheck("job", "list", "--json", store=told).stdout.splitlines()
    assert [json.loads(line)["job"]["number"] for line in lines] == ["J-0002", "J-0001"]


def test_a_story_as_json_holds_spots_passes_and_inspections(told):
    said = json.loads(prepcheck("job", "show", "J-0001", "--json", store=told).stdout)
    inspections = [one for s in said["spots"] for p in s["passes"] for one in p["inspections"]]
    assert [one["number"] for one in inspections] == [1, 2, 3]


def test_a_screen_that_knows_ascii_only_shows_the_rest_as_escapes(tmp_path):
    prepcheck("job", "new", "Zoë", "--person", "Ida", store=tmp_path)
    command = [sys.executable, "-m", "prepcheck", "job", "list", "--store", str(tmp_path)]
    ascii_only = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = subprocess.run(command, env=ascii_only, capture_output=True, text=True, check=True)
    assert "Zo\\xeb" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (
            ["job", "show", "77"],
            2,
            "prepcheck: J-0077: no such job in this log. Choose one of the jobs of this log (prepcheck job list, --store).\n",
        ),
        (["disagree", "9", "--standing", "bright", "--reason", "x", "--person", "Jon"], 2, "no such inspection"),
        (["disagree", "1", "--standing", "pass", "--reason", "x", "--person", "Jon"], 2, "pass: is no standing"),
        (["job", "list", "--store", "/nowhere"], 2, "holds no log yet"),
        (["job", "new", "x", "--person", "Ida", "--store", "/dev/null"], 3, "cannot be used as a store"),
    ],
)
def test_what_is_wrong_is_one_line_with_its_exit_code(told, arguments, code, said):
    done = prepcheck(*arguments, store=told)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (code, "", 1)
    assert said in done.stderr


def test_a_disagreement_is_logged_and_said_back(tmp_path):
    store, archive = tasks.open_log(tmp_path, Settings())
    tasks.open_job(store, NewJob("Bowser"), person="Ida", at=AT)
    tasks.log_inspection(store, archive, record_for(b"1", spot()), b"1", **PLACE)
    done = prepcheck(
        "disagree", "1", "--standing", "cannot tell", "--reason", "glare", "--person", "Jon", store=tmp_path
    )
    assert done.stdout == "Logged beside inspection 1: Jon says cannot tell (glare)\n"
    assert "Jon disagrees: cannot tell. glare" in prepcheck("job", "show", "1", store=tmp_path).stdout
