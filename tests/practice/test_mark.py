from __future__ import annotations

import math
import struct

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.errors import WrongUse
from prepcheck.practice import Stroke, filled, from_png, painted, to_png
from prepcheck.practice.mark import NOTHING, RESIDUE, UNSURE

SHAPE = (120, 160)
SIZE = (160, 120)
SQUARE = np.array([[20, 30], [59, 30], [59, 69], [20, 69]], np.float64)


def read(data: bytes, size=SIZE, shape=SHAPE):
    return from_png(data, size, shape, "mark.png")


def test_a_loop_is_filled():
    assert np.count_nonzero(filled([SQUARE], SHAPE, 1.0) == RESIDUE) == 40 * 40


def test_a_brush_is_as_wide_as_told_to_two_pixels_of_the_raster():
    mark = painted([Stroke("residue", 11, np.array([[30.0, 60], [130, 60]]))], SHAPE, 1.0)
    assert np.count_nonzero(mark[:, 80] == RESIDUE) == pytest.approx(11, abs=2)


def test_a_tap_of_the_brush_is_a_disc():
    mark = painted([Stroke("residue", 21, np.array([[80.0, 60]]))], SHAPE, 1.0)
    assert np.count_nonzero(mark) == pytest.approx(math.pi * 10.5**2, rel=0.1)


def test_a_later_stroke_lies_over_those_before():
    strokes = [Stroke("residue", None, SQUARE), Stroke("unsure", 9, SQUARE[:1]), Stroke("nothing", 9, SQUARE[2:3])]
    mark = painted(strokes, SHAPE, 1.0)
    assert (mark[30, 20], mark[50, 40], mark[69, 59]) == (UNSURE, RESIDUE, NOTHING)


def test_places_are_those_of_the_full_photo():
    """A raster of half the size has a quarter of the pixels."""
    mark = filled([SQUARE], (60, 80), 2.0)
    assert np.count_nonzero(mark) == pytest.approx(20 * 20, rel=0.1)
    assert (mark[25, 20], mark[40, 35]) == (RESIDUE, NOTHING)


def test_a_stroke_without_places_marks_nothing():
    assert not painted([Stroke("residue", 5, np.zeros((0, 2)))], SHAPE, 1.0).any()


@given(
    st.lists(
        st.builds(
            Stroke,
            st.sampled_from(["residue", "unsure", "nothing"]),
            st.one_of(st.none(), st.floats(1e-3, 1e5)),
            st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6)), min_size=1, max_size=4).map(np.array),
        ),
        max_size=4,
    )
)
def test_no_stroke_however_wild_breaks_the_mark(strokes):
    mark = painted(strokes, (60, 80), 2.0)
    assert (mark.shape, set(np.unique(mark)) <= {NOTHING, UNSURE, RESIDUE}) == ((60, 80), True)


def test_a_stroke_that_leaves_the_photo_is_cut_off():
    far = np.array([[-1e6, -1e6], [1e6, 1e6]])
    assert painted([Stroke("residue", 5, far), Stroke("residue", None, far)], SHAPE, 1.0).shape == SHAPE


@given(st.lists(st.sampled_from([NOTHING, UNSURE, RESIDUE]), min_size=12, max_size=12))
def test_what_is_kept_as_png_is_read_again(codes):
    mark = np.array(codes, np.uint8).reshape(3, 4)
    assert (read(to_png(mark), (4, 3), (3, 4)) == mark).all()


def test_a_mask_of_the_full_photo_is_brought_to_the_raster():
    mark = read(to_png(filled([SQUARE], SHAPE, 1.0)), SIZE, (60, 80))
    assert mark.shape == (60, 80)
    assert np.count_nonzero(mark) == 20 * 20


def png_of(grey: int) -> bytes:
    return cv2.imencode(".png", np.full(SHAPE, grey, np.uint8))[1].tobytes()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is no PNG"),
        (b"\xff\xd8\xff\xe0 a photo", "is no PNG"),
        (png_of(0)[:60], "is damaged"),
        (png_of(7), "other greys"),
        (png_of(0)[:16] + struct.pack(">II", 10**6, 10**6) + png_of(0)[24:], "1000000 x 1000000"),
    ],
)
def test_what_is_no_mask_is_refused(data, words):
    with pytest.raises(WrongUse, match=words):
        read(data)
