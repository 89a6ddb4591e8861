"""Measuring a labelled folder on the command line, and what is wrong with one."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from prepcheck.synth import Picture
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
    (accuracy,) = [line for line in done.out.splitlines() if "balanced accuracy" in line]
    assert float(accuracy.split()[2]) > 0.98


def test_simple_rules_stand_beside_it_in_one_table(
    command: Command, labelled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("sklearn")
    monkeypatch.setattr("prepcheck.synth.make_picture", lambda seed, shape: _painted(seed))
    done = command("evaluate", labelled, "--baselines", "--forest-pictures", "2")
    assert (done.code, done.err) == (0, "")
    table = done.out.split("beside simple rules")[1].splitlines()[2:8]
    assert [line[2:28].strip() for line in table] == [
        "prepcheck, nothing given",
        "brightness (Otsu)",
        "two means in Lab",
        "local texture",
        "GrabCut",
        "features + random forest",
    ]
    assert all(0 <= float(line[28:].split()[0]) <= 1 for line in table)


def _painted(seed: int) -> Picture:
    ground = np.where(PLATE == State.COATING, 0, 255).astype(np.uint8)
    return Picture(painted.paint(PLATE, seed), PLATE, ground, {})


def test_files_are_written_where_asked(command: Command, labelled: Path) -> None:
    done = command("evaluate", labelled, "--out", "made", "--by")
    assert (done.code, done.err) == (0, "")
    assert {path.name for path in (command.folder / "made").iterdir()} == {
        "figures.json",
        "worst.csv",
        "worst.jpg",
        "reliability.svg",
        "risk_coverage.svg",
    }


def test_a_place_that_cannot_be_written_is_one_line(command: Command, labelled: Path) -> None:
    (command.folder / "made").write_text("a file")
    done = command("evaluate", labelled, "--out", "made")
    assert done.code == 2
    assert "cannot be used" in done.complaint


def test_pictures_that_show_no_work_need_no_folder(command: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("prepcheck.evaluate.outside.SEEDS", range(1))
    monkeypatch.setattr("prepcheck.evaluate.outside.SIZE", (120, 160))
    monkeypatch.setattr("prepcheck.evaluate.outside.shipped_pictures", lambda: [])
    done = command("evaluate", "--outside")
    assert (done.code, done.err) == (0, "")
    assert "12 pictures that show no work" in done.out
    assert "standing bright: 0 of 12" in done.out


def test_nothing_to_measure_is_wrong_use(command: Command) -> None:
    done = command("evaluate")
    assert done.code == 2
    assert done.complaint.startswith("there is nothing to measure")


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
