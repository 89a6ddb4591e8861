"""Measuring a labelled folder on the command line, and what is wrong with one."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from prepcheck.terms import State
from tests import painted
from tests.command import Command, photo_bytes

PLATE = painted.plate((State.OXIDE, 120, 100, 20), size=(240, 320), spot=(160, 120, 80))


@pytest.fixture(autouse=True)
def reads_painted_plates(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("prepcheck.surface.load_model", lambda name=None: painted.model())


@pytest.fixture
def labelled(command: Command) -> Path:
    for name in ("images", "states"):
        (command.folder / name).mkdir()
    (command.folder / "images" / "a.jpg").write_bytes(photo_bytes(PLATE))
    cv2.imwrite(str(command.folder / "states" / "a.png"), PLATE)
    return command.folder


def points(folder: Path, said: object) -> Path:
    (folder / "a.jpg").write_bytes(photo_bytes(PLATE))
    (folder / "points.json").write_text(said if isinstance(said, str) else json.dumps(said))
    return folder


def test_a_table_gives_every_figure_with_its_interval(command: Command, labelled: Path) -> None:
    done = command("evaluate", labelled)
    assert (done.code, done.err) == (0, "")
    assert "1 photos in 1 scenes" in done.out
    ours, brightness = [line for line in done.out.splitlines() if "balanced accuracy" in line]
    assert float(ours.split()[2]) > 0.98
    assert 0 <= float(brightness.split()[2]) <= 1


def test_points_give_a_table_too(command: Command) -> None:
    entry = {"file": "a.jpg", "size": [320, 240], "points": [[200, 120], [120, 100]], "labels": [1, 2]}
    done = command("evaluate", points(command.folder, [entry]))
    assert (done.code, done.err) == (0, "")
    assert "1 photos with points" in done.out


def test_measures_without_anything_to_measure_are_said_to_be_none(command: Command, labelled: Path) -> None:
    cv2.imwrite(str(labelled / "states" / "a.png"), np.full((240, 320), State.CANNOT_TELL, np.uint8))
    done = command("evaluate", labelled)
    assert (done.code, done.err) == (0, "")
    assert "nan" in done.out


@pytest.mark.parametrize("there", [False, True])
def test_a_folder_without_labels_is_one_line(command: Command, there: bool) -> None:
    if there:
        (command.folder / "empty").mkdir()
    done = command("evaluate", "empty")
    assert done.code == 3
    assert done.complaint.startswith("empty: holds no images/NAME with states/NAME.png")


@pytest.mark.parametrize(
    ("file", "says"), [("images/a.jpg", "a.jpg: is empty"), ("states/a.png", "a.png: is no readable")]
)
def test_an_empty_file_in_it_is_one_line(command: Command, labelled: Path, file: str, says: str) -> None:
    (labelled / file).write_bytes(b"")
    done = command("evaluate", labelled)
    assert done.code == 3
    assert done.complaint.startswith(says)


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ('{"a"', "is no list of labelled points"),
        ([{"file": "a.jpg"}], "is no list of labelled points"),
        (3, "is no list of labelled points"),
        ([{"file": "a.jpg", "points": [[1, 2], [3]], "labels": [1, 1]}], "is no list of labelled points"),
        ([{"file": "a.jpg", "points": [[1, 2]], "labels": [1, 1]}], "has not one label for each point of a.jpg"),
        ([], "names no photo that is there"),
        ([{"file": "../a.jpg", "points": [[1, 2]], "labels": [1]}], "names no photo that is there"),
    ],
)
def test_a_list_of_points_that_says_something_else_is_one_line(command: Command, said: object, says: str) -> None:
    done = command("evaluate", points(command.folder, said))
    assert done.code == 3
    assert says in done.complaint
