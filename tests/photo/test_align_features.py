"""Points matched between two pictures: most matches wrong, as after grinding."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from prepcheck.photo.align_features import Points, _pairs, matched, points

TURN = 0.3
WAY = np.array([[np.cos(TURN), -np.sin(TURN), 70.0], [np.sin(TURN), np.cos(TURN), -40.0], [0.0, 0.0, 1.0]])


def looks(count: int, seed: int = 0) -> NDArray[np.float32]:
    rows = np.random.default_rng(seed).normal(size=(count, 128))
    return np.asarray(rows / np.linalg.norm(rows, axis=1, keepdims=True), np.float32)


def two_pictures(right: int, wrong: int) -> tuple[Points, Points]:
    """Points of two pictures that look alike one by one; only the first `right` of them lie where `WAY` says."""
    rng = np.random.default_rng(1)
    at = rng.uniform(0, 1000, (right + wrong, 2))
    there = rng.uniform(0, 1000, at.shape)
    there[:right] = cv2.perspectiveTransform(at[None, :right], WAY)[0]
    turns = rng.uniform(-np.pi, np.pi, len(at))
    turns[:right] = TURN
    same, upright = looks(len(at)), np.ones(len(at), np.complex64)
    one = Points(np.asarray(at, np.float32), upright, same, 1.6)
    return one, Points(np.asarray(there, np.float32), np.asarray(np.exp(1j * turns), np.complex64), same, 1.6)


@pytest.mark.parametrize("right", [8, 20])
def test_one_right_match_in_fifty_gives_the_way(right: int) -> None:
    matrix, _ = matched(*two_pictures(right, 49 * right))
    assert matrix is not None
    assert cv2.perspectiveTransform(np.array([[[500.0, 500.0]]]), matrix @ np.linalg.inv(WAY)) == pytest.approx(
        500, abs=2
    )


def test_a_match_that_lies_right_but_is_turned_otherwise_does_not_count() -> None:
    one, two = two_pictures(20, 0)
    two.turned[:8] *= np.complex64(1j)
    assert matched(one, two)[1] == 12


def test_pictures_without_points_do_not_match() -> None:
    none = Points(np.zeros((0, 2), np.float32), np.zeros(0, np.complex64), np.zeros((0, 128), np.float32), 1.6)
    assert matched(none, none) == (None, 0)


def test_points_lie_only_where_the_picture_counts() -> None:
    contrast = np.asarray(np.random.default_rng(2).normal(size=(480, 640)), np.float32)
    seen = np.zeros(contrast.shape, bool)
    seen[:, 320:] = True
    assert points(contrast, seen).at[:, 0].min() > 318


def test_pairs_are_those_that_choose_each_other() -> None:
    one, two = looks(60, 3), np.concatenate([looks(60, 3)[::-1], looks(30, 4)])
    mine, theirs = _pairs(one, two)
    assert sorted(zip(mine.tolist(), theirs.tolist(), strict=True)) == [(k, 59 - k) for k in range(60)]


def test_pairs_are_those_of_a_plain_search() -> None:
    one = np.abs(looks(60, 7))
    astray = np.random.default_rng(8).normal(0, 0.08, one.shape) * np.linspace(0, 3, 60)[:, None]
    two = np.asarray(np.abs(one + astray)[::-1], np.float32)
    two /= np.linalg.norm(two, axis=1, keepdims=True)
    plain = cv2.BFMatcher(cv2.NORM_L2, crossCheck=True).match(one, two)
    expected = {(match.queryIdx, match.trainIdx) for match in plain}
    mine, theirs = _pairs(one, two)
    assert 0 < len(expected) < 60
    assert set(zip(mine.tolist(), theirs.tolist(), strict=True)) == expected


def test_of_very_many_pairs_the_most_alike_are_taken() -> None:
    one = looks(1300, 5)
    two = np.concatenate([looks(300, 6) * 0.1 + one[:300], one[300:]])
    two = np.asarray(two / np.linalg.norm(two, axis=1, keepdims=True), np.float32)
    mine, _ = _pairs(one, two)
    assert (len(mine), mine.min()) == (1000, 300)
