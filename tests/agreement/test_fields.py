"""The list of photos with points: written, read back, and what is wrong with one."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from prepcheck.agreement.fields import LIST, add_field, read_fields, write_fields
from prepcheck.agreement.grid import Grid
from prepcheck.errors import NameClash, WrongUse
from tests.agreement.forms import field, small


def with_entry(folder: Path, **changes: Any) -> Path:
    entry = json.loads(write_fields([small()]))[0]
    (folder / LIST).write_text(json.dumps([{**entry, **changes}]))
    return folder


def test_photos_with_points_are_read_back_as_written(tmp_path: Path) -> None:
    outlined = replace(
        small("b.jpg", "b" * 64), laid=replace(small().laid, outline=np.array([[0.0, 0], [50, 0], [9, 30]]))
    )
    (tmp_path / LIST).write_bytes(write_fields([field(), outlined]))
    first, second = read_fields(tmp_path)
    assert (first.file, first.sha256, first.size, first.grid) == ("images/tank.jpg", "a" * 64, (640, 480), field().grid)
    assert (first.laid.pitch, first.laid.seed, first.laid.outline) == (field().laid.pitch, 1, None)
    assert second.laid.outline is not None
    assert second.laid.outline.tolist() == [[0, 0], [50, 0], [9, 30]]


def test_the_list_has_the_layout_of_an_evaluation_folder_with_labels_empty() -> None:
    (entry,) = json.loads(write_fields([small()]))
    assert {"file", "size", "points", "labels"} <= entry.keys()
    assert (entry["labels"], entry["points"]) == ([], [[10, 10], [20, 10], [30, 10]])


def test_a_grid_is_known_by_its_photo_and_its_points() -> None:
    moved = replace(small(), laid=Grid(small().points + 0.1, 10, 0))
    assert len({small().grid, moved.grid, small(sha256="b" * 64).grid}) == 3
    assert small("other.jpg").grid == small().grid


def test_a_photo_gets_points_once() -> None:
    with pytest.raises(NameClash, match=r"has points already, as tank\.jpg"):
        add_field([small()], small("copy.jpg"))


@pytest.mark.parametrize("name", ["tank.jpg", "TANK.JPG", "tank.png"])
def test_two_photos_of_one_name_would_share_a_form(name: str) -> None:
    with pytest.raises(NameClash, match="has the name of another photo"):
        add_field([small()], small(name, "b" * 64))


def test_another_photo_is_added_at_the_end() -> None:
    assert [one.name for one in add_field([small()], small("b.jpg", "b" * 64))] == ["tank.jpg", "b.jpg"]


@pytest.mark.parametrize("file", ["../tank.jpg", "/tank.jpg", "images/../../tank.jpg", "..\\tank.jpg"])
def test_a_photo_outside_the_folder_is_refused(tmp_path: Path, file: str) -> None:
    with pytest.raises(WrongUse, match="outside its folder"):
        read_fields(with_entry(tmp_path, file=file))


@pytest.mark.parametrize("point", [[640, 10], [10, 480], [-0.6, 10], [10, -0.6]])
def test_points_outside_the_photo_are_refused(tmp_path: Path, point: list[float]) -> None:
    with pytest.raises(WrongUse, match=r"points outside tank\.jpg"):
        read_fields(with_entry(tmp_path, points=[[1, 1], point]))


@pytest.mark.parametrize(
    "changes",
    [
        {"points": []},
        {"points": [[1]]},
        {"points": [[1, float("nan")]]},
        {"points": [["a", 1]]},
        {"sha256": "xyz"},
        {"size": [0, 480]},
        {"size": [640]},
        {"pitch": -1},
        {"seed": -1},
        {"file": ""},
        {"outline": [[1, 1]]},
    ],
)
def test_what_is_no_list_of_points_is_refused_with_the_place(tmp_path: Path, changes: dict[str, Any]) -> None:
    with pytest.raises(WrongUse, match=f"is no list of photos with points .*{next(iter(changes))}"):
        read_fields(with_entry(tmp_path, **changes))


@pytest.mark.parametrize("text", ["", "{}", "[1]", "[", "[" * 10_000])
def test_another_file_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / LIST).write_text(text)
    with pytest.raises(WrongUse, match="is no list of photos"):
        read_fields(tmp_path)


def test_a_folder_without_list_is_told(tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="cannot be read"):
        read_fields(tmp_path)


def test_a_list_has_an_end() -> None:
    with pytest.raises(WrongUse, match="would be photo 1,001"):
        add_field([small()] * 1000, small("b.jpg", "b" * 64))
