"""Drawn and refused outlines come back from a file as they were written."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.errors import BadOutlines
from prepcheck.outline_file import read_outlines

POSITIONS = st.floats(-1e6, 1e6)
DRAWN = st.lists(st.lists(st.tuples(POSITIONS, POSITIONS), min_size=3, max_size=12), max_size=5)
REASONS = st.from_regex(r"[A-Za-zäß✓]{1,20}( [a-z]{1,10}){0,3}", fullmatch=True)
REFUSED = st.dictionaries(st.integers(1, 999), REASONS, max_size=5)


@given(drawn=DRAWN, refused=REFUSED)
def test_what_was_written_is_read(drawn: list[list[tuple[float, float]]], refused: dict[int, str]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "o.json"
        path.write_text(json.dumps({"draw": drawn, "refuse": refused}))
        outlines = read_outlines(path)
    assert [outline.tolist() for outline in outlines.drawn] == [[list(point) for point in points] for points in drawn]
    assert outlines.refused == refused


@given(
    st.text(max_size=60)
    | st.recursive(st.none() | st.booleans() | st.floats() | st.text(max_size=5), st.lists).map(json.dumps)
)
def test_anything_else_is_one_clear_error(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "o.json"
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
        with pytest.raises(BadOutlines) as caught:
            read_outlines(path)
    assert caught.value.message.isprintable()


def test_an_empty_object_draws_and_refuses_nothing(tmp_path: Path) -> None:
    (tmp_path / "o.json").write_text("{}")
    outlines = read_outlines(tmp_path / "o.json")
    assert (outlines.drawn, outlines.refused) == ((), {})


def test_whole_numbers_are_positions_too(tmp_path: Path) -> None:
    (tmp_path / "o.json").write_text('{"draw": [[[1, 2], [30, 4], [5, 60]]]}')
    (outline,) = read_outlines(tmp_path / "o.json").drawn
    assert outline.dtype == np.float64
    assert outline.tolist() == [[1, 2], [30, 4], [5, 60]]


def test_a_reason_is_brought_to_one_line(tmp_path: Path) -> None:
    (tmp_path / "o.json").write_text('{"refuse": {"1": " that is\\nprimer "}}')
    assert read_outlines(tmp_path / "o.json").refused == {1: "that is primer"}


def test_a_joint_line_comes_back_as_drawn(tmp_path: Path) -> None:
    (tmp_path / "o.json").write_text('{"joint": [[1, 2], [30, 4.5]], "joint_margin_mm": 12.5}')
    outlines = read_outlines(tmp_path / "o.json")
    assert outlines.joint is not None
    assert outlines.joint.points.tolist() == [[1, 2], [30, 4.5]]
    assert outlines.joint.margin_mm == 12.5
    assert outlines.only_joint


@pytest.mark.parametrize(
    "joint", ["[[1, 2]]", "[]", '[[1, "2"], [3, 4]]', "[[1, 2], [1e9, 4]]", "[[1, 2, 3], [3, 4, 5]]"]
)
def test_what_is_no_line_is_refused(tmp_path: Path, joint: str) -> None:
    (tmp_path / "o.json").write_text(f'{{"joint": {joint}}}')
    with pytest.raises(BadOutlines, match="no outline file"):
        read_outlines(tmp_path / "o.json")
