"""Practice on the command line, from the photos to the difference."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest

from prepcheck.samples import samples
from prepcheck.terms import State
from tests import painted
from tests.command import photo_bytes

PLATE = painted.plate((State.OXIDE, 320, 240, 40))


@pytest.fixture(autouse=True)
def reads_painted_plates(monkeypatch):
    monkeypatch.setattr("prepcheck.surface.load_model", lambda name=None: painted.model())


@pytest.fixture
def begun(command):
    """A session of two plates; a mask that is true, and one of the whole."""
    (command.folder / "a.jpg").write_bytes(photo_bytes(PLATE))
    (command.folder / "b.jpg").write_bytes(photo_bytes(painted.plate()))
    cv2.imwrite(str(command.folder / "true.png"), np.where(PLATE == State.OXIDE, 255, 0).astype(np.uint8))
    done = command("practice", "start", "a.jpg", "b.jpg", "--person", "Mika")
    assert (done.code, done.err) == (0, "")
    return done


def test_a_session_is_told_with_its_number_and_what_comes_next(begun):
    assert begun.out.startswith("Practice session 1 of Mika: 2 photos\n  1  a.jpg\n  2  b.jpg\n")
    assert "prepcheck practice mark 1 1 MARK.png" in begun.out


def test_a_mark_is_fixed_and_the_difference_shown(command, begun):
    fixed = command("practice", "mark", 1, "a.jpg", "true.png")
    assert fixed.out.startswith("Fixed: a.jpg, mark ")
    shown = command("practice", "show", 1).out
    assert "You found 1 of 1 patches of the tool" in shown
    assert "1 photo not marked yet; their answers stay hidden." in shown
    assert "The tool is not the truth" in shown
    assert "b.jpg" not in shown


def test_outlines_are_a_mark_too(command, begun):
    (command.folder / "mine.json").write_text(json.dumps({"draw": [[[300, 220], [340, 220], [340, 260], [300, 260]]]}))
    assert command("practice", "mark", 1, 1, "mine.json").code == 0
    assert "You found 1 of 1 patches" in command("practice", "show", 1).out


def test_no_residue_seen_is_a_mark_too(command, begun):
    assert command("practice", "mark", 1, 1, "--nothing").code == 0
    assert "You found 0 of 1 patches" in command("practice", "show", 1).out


def test_a_second_mark_is_refused(command, begun):
    command("practice", "mark", 1, 1, "--nothing")
    done = command("practice", "mark", 1, 1, "true.png")
    assert (done.code, done.complaint) == (
        2,
        "a.jpg: is marked already, and what was marked stays. Go on with the next photo.",
    )


def test_nothing_is_shown_while_nothing_is_marked(command, begun):
    out = command("practice", "show", 1).out
    assert "2 photos not marked yet" in out
    assert "patches" not in out.splitlines()[0]


def test_pictures_of_the_difference_are_written(command, begun):
    command("practice", "mark", 1, 1, "true.png")
    command("practice", "show", 1, "--pictures", "seen")
    (path,) = (command.folder / "seen").iterdir()
    assert path.name == "1-a.tool.png"
    assert cv2.imread(str(path)).shape == (960, 1280, 3)


def test_json_holds_every_figure(command, begun):
    command("practice", "mark", 1, 1, "true.png")
    told = json.loads(command("practice", "show", 1, "--json").out)
    (compared,) = told["photos"][0]["compared"]
    assert (compared["patches"], compared["patches_found"], compared["against"]) == (1, 1, "tool")
    assert (told["photos"][1]["mark_sha256"], told["photos"][1]["compared"]) == (None, [])
    assert told["outcomes"][0]["patches"]["found"] == 1


def test_progress_goes_over_sessions(command, begun):
    command("practice", "mark", 1, 1, "--nothing")
    command("practice", "show", 1)
    command("practice", "start", "a.jpg", "--person", "mika")
    command("practice", "mark", 4, 1, "true.png")
    command("practice", "show", 4)
    out = command("practice", "progress", "--person", "Mika").out
    assert "Session 1, " in out
    assert "Session 4, " in out
    assert "overlap: a difference can be chance" in out
    sessions = [
        json.loads(line) for line in command("practice", "progress", "--person", "Mika", "--json").out.splitlines()
    ]
    assert [one["session"] for one in sessions] == [1, 4]


def test_all_sessions_are_listed(command, begun):
    command("practice", "start", "a.jpg", "--person", "Rune")
    first, second = command("practice", "list").out.splitlines()
    assert first.endswith(", Mika: 0 of 2 photos marked")
    assert second.endswith(", Rune: 0 of 1 photo marked")
    assert [json.loads(line)["person"] for line in command("practice", "list", "--json").out.splitlines()] == [
        "Mika",
        "Rune",
    ]


def test_samples_are_named_so_that_nothing_is_given_away(command):
    out = command("practice", "start", "--samples", "--person", "Mika").out
    assert "  1  sample 1\n" in out
    assert not [one.path.name for one in samples() if one.path.name in out]


WRONG = [
    (("start", "--person", "Mika"), "0 photos are chosen"),
    (("start", "a.jpg"), "the person's name is empty"),
    (("start", "missing.jpg", "--person", "Mika"), "missing.jpg"),
    (("mark", 9, 1, "--nothing"), "no such practice session"),
    (("mark", 1, 3, "--nothing"), "has 2 photos, no photo 3"),
    (("mark", 1, "c.jpg", "--nothing"), "is no photo of this session"),
    (("mark", 1, 1), "a mark is a file or --nothing"),
    (("mark", 1, 1, "true.png", "--nothing"), "a mark is a file or --nothing"),
    (("mark", 1, 1, "a.jpg"), "is no PNG"),
    (("progress", "--person", "Rune"), "has no practice session"),
]


def test_wrong_use_is_told_in_one_line(command, begun):
    for words, complaint in WRONG:
        done = command("practice", *words)
        assert done.code in (2, 3)
        assert complaint in done.complaint
