"""A systematic grid: where its points lie, and that it hits areas by their share."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.agreement.grid import FEWEST, GRID_CHOICE, MOST, lay_grid, seed_of
from prepcheck.errors import WrongUse
from prepcheck.trade.facts import Mark

SIZE = (640, 480)
SQUARE = np.array([[100.0, 100], [300, 100], [300, 300], [100, 300]])


@given(st.integers(FEWEST, MOST), st.integers(0, 2**32))
def test_all_points_lie_in_the_photo_and_about_as_many_as_wished(wished: int, seed: int) -> None:
    laid = lay_grid(SIZE, wished, seed)
    assert (laid.points >= -0.5).all()
    assert (laid.points <= np.array(SIZE) - 0.5).all()
    edge = 2 * sum(SIZE) / laid.pitch  # each row and column may gain or lose one
    assert abs(len(laid.points) - wished) <= edge / 2 + 1


@given(st.integers(0, 2**32))
def test_points_of_an_outline_lie_inside_it(seed: int) -> None:
    laid = lay_grid(SIZE, 50, seed, SQUARE)
    assert ((laid.points >= 100) & (laid.points <= 300)).all()


def test_points_form_a_square_array_that_does_not_overlap() -> None:
    # Fields are a systematic array without overlap: ASTM E562 section 11.2 (seen).
    laid = lay_grid(SIZE, 100, 5)
    columns, rows = (np.unique(laid.points[:, axis]) for axis in (0, 1))
    assert len(columns) * len(rows) == len(laid.points) == len(np.unique(laid.points, axis=0))
    assert np.diff(columns) == pytest.approx(laid.pitch, abs=0.11)
    assert np.diff(rows) == pytest.approx(laid.pitch, abs=0.11)


def test_points_are_numbered_row_by_row_from_the_top() -> None:
    points = lay_grid(SIZE, 100, 5).points
    assert points.tolist() == sorted(points.tolist(), key=lambda point: (point[1], point[0]))


def test_the_same_seed_lays_the_same_points_and_another_seed_others() -> None:
    first, again, other = (lay_grid(SIZE, 60, seed).points for seed in (3, 3, 4))
    assert np.array_equal(first, again)
    assert first.shape != other.shape or not np.allclose(first, other)


def test_each_photo_has_a_seed_of_its_own() -> None:
    assert seed_of("a" * 64) == seed_of("a" * 64) != seed_of("b" * 64)


def test_the_share_of_points_is_right_on_average_for_the_share_of_area() -> None:
    # E562-01 section 3.2.2 (seen): unbiased. Second way: the disc's area by geometry, over 200 offsets.
    shares = []
    for seed in range(200):
        points = lay_grid(SIZE, 100, seed).points
        shares.append((np.hypot(points[:, 0] - 250, points[:, 1] - 200) < 90).mean())
    assert np.mean(shares) == pytest.approx(np.pi * 90**2 / (SIZE[0] * SIZE[1]), abs=0.002)


@pytest.mark.parametrize("wished", [-1, 0, FEWEST - 1, MOST + 1, 10**9])
def test_too_few_and_too_many_points_are_refused(wished: int) -> None:
    with pytest.raises(WrongUse, match="Ask for 9 to 2000"):
        lay_grid(SIZE, wished, 0)


def test_points_closer_than_the_eye_can_part_are_refused() -> None:
    with pytest.raises(WrongUse, match="px apart"):
        lay_grid(SIZE, 100, 0, SQUARE / 20)


@pytest.mark.parametrize("shift", [(-101, 0), (400, 0), (0, 200)])
def test_an_outline_that_leaves_the_photo_is_refused(shift: tuple[int, int]) -> None:
    with pytest.raises(WrongUse, match="leaves the photo of 640 x 480"):
        lay_grid(SIZE, 50, 0, SQUARE + shift)


def test_an_outline_between_the_rows_of_the_grid_holds_no_point() -> None:
    strip = np.array([[20.0, 200], [620, 200], [620, 200.3], [20, 200.3]])
    with pytest.raises(WrongUse, match="no point of the grid lies inside"):
        lay_grid(SIZE, 9, 0, strip)


def test_an_outline_without_area_is_refused() -> None:
    with pytest.raises(WrongUse, match="px apart"):
        lay_grid(SIZE, 50, 0, np.array([[10.0, 10], [20, 20], [30, 30]]))


def test_the_choice_of_points_by_share_is_from_memory_and_holds_nothing() -> None:
    # ASTM E562 Table 3, from memory.
    assert [fact.value for _, fact in GRID_CHOICE] == [100, 49, 25, 16]
    assert all(fact.mark is Mark.MEMORY and not fact.may_hold for _, fact in GRID_CHOICE)
