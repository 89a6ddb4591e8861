"""Sequences of grinding passes: what is left lies inside what was left before, and what persists is told."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest

from prepcheck.synth.layers import blank
from prepcheck.synth.sequences import LEAST_MM2, SMALLER, PassPicture, make_sequence, persisting
from prepcheck.terms import State

SHAPE = (180, 240)
SEEDS = range(7_910_000, 7_910_006)


@pytest.fixture(scope="module")
def sequences() -> list[list[PassPicture]]:
    """A few sequences."""
    return [make_sequence(seed, SHAPE) for seed in SEEDS]


def _matter(one: PassPicture) -> np.ndarray:
    return np.isin(one.picture.states, (State.OXIDE, State.PIT)) & (one.picture.ground > 0)


def _to(earlier: PassPicture, later: PassPicture, plane: np.ndarray, outside: int = 0) -> np.ndarray:
    """Lay a plane of an earlier pass's photo on a later one's."""
    way = np.linalg.solve(np.asarray(later.picture.meta["to_first"]), np.asarray(earlier.picture.meta["to_first"]))
    return cv2.warpPerspective(plane, way, SHAPE[::-1], flags=cv2.INTER_NEAREST, borderValue=outside)


def test_the_same_seed_gives_the_same_sequence(sequences: list[list[PassPicture]]) -> None:
    again = make_sequence(SEEDS[0], SHAPE)
    assert [one.picture.image.tobytes() for one in again] == [one.picture.image.tobytes() for one in sequences[0]]


def test_the_ground_area_of_a_pass_lands_on_that_of_the_next(sequences: list[list[PassPicture]]) -> None:
    for first, *others in sequences:
        for other in others if first.picture.meta["card"] != "laid anew" else ():
            ground = _to(first, other, first.picture.ground, 99)
            seen = ground != 99
            assert np.mean(ground[seen] == other.picture.ground[seen]) > 0.97


def test_what_persists_was_there_in_both_passes(sequences: list[list[PassPicture]]) -> None:
    shares = []
    for passes in sequences:
        for earlier, later in itertools.pairwise(passes):
            there = later.persisting > 0
            assert not (there & ~_matter(later)).any()
            before = (
                cv2.dilate(_to(earlier, later, _matter(earlier).astype(np.uint8), 1), np.ones((3, 3), np.uint8)) > 0
            )
            shares += [float(np.mean(before[there]))] if there.any() else []
    assert shares
    assert min(shares) > 0.9


def test_nothing_persists_in_the_last_pass_of_a_sequence_that_goes(sequences: list[list[PassPicture]]) -> None:
    gone = [passes[-1] for passes in sequences if passes[0].picture.meta["course"] == "goes"]
    assert gone
    assert not any(one.persisting.any() for one in gone)


def test_in_some_sequence_a_patch_persists(sequences: list[list[PassPicture]]) -> None:
    assert any(passes[-1].picture.meta["persisting"] for passes in sequences)


def test_without_new_residue_the_residue_shrinks(sequences: list[list[PassPicture]]) -> None:
    old = [passes for passes in sequences if passes[0].picture.meta["exposed"] == 0]
    for passes in old:
        for earlier, later in itertools.pairwise(passes):
            before = (
                cv2.dilate(_to(earlier, later, _matter(earlier).astype(np.uint8), 1), np.ones((3, 3), np.uint8)) > 0
            )
            assert np.count_nonzero(_matter(later) & ~before) <= 0.1 * np.count_nonzero(_matter(later)) + 2
    assert old


def test_the_tool_marks_are_new_in_every_pass(sequences: list[list[PassPicture]]) -> None:
    first, second, *_ = sequences[0]
    laid = _to(first, second, first.picture.image)
    metal = (second.picture.states == State.BRIGHT) & (laid.sum(axis=2) > 0)
    alike = np.corrcoef(laid.mean(axis=2)[metal], second.picture.image.mean(axis=2)[metal])[0, 1]
    assert alike < 0.7


def test_patches_from_three_square_millimetres_on_are_numbered_and_smaller_ones_are_not() -> None:
    earlier = blank((60, 80), 0.5)
    earlier.ground[:] = 1
    earlier.state[5:9, 5:9] = State.OXIDE
    earlier.state[20:22, 20:22] = State.PIT
    earlier.state[40:50, 40:50] = State.FOREIGN
    later = earlier.copy()
    later.state[30:40, 60:70] = State.OXIDE
    labels, areas = persisting(earlier, later)
    assert areas == [{"label": 1, "area_mm2": 4.0}]
    assert areas[0]["area_mm2"] >= LEAST_MM2
    assert np.array_equal(np.unique(labels), [0, 1, SMALLER])
    assert (labels[5:9, 5:9] == 1).all()
    assert (labels[20:22, 20:22] == SMALLER).all()
