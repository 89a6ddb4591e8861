"""What went wrong on a photo, in words and shares."""

import numpy as np
import pytest

from prepcheck.evaluate.causes import map_badness, map_causes, pit_causes, point_badness, point_causes
from prepcheck.evaluate.measures import tally
from prepcheck.evaluate.sparse import pit_tally, point_tally
from prepcheck.terms import State


def compared(told, truth, spots=None):
    told, truth = np.array([told], np.uint8), np.array([truth], np.uint8)
    ground = np.ones(truth.shape, bool)
    inside = ground if spots is None else np.array([spots], bool)
    residue = (told != State.BRIGHT).astype(np.float32)
    return tally(told, residue, inside, truth, ground, ~ground, mm_per_px=None)


@pytest.mark.parametrize(
    ("truly", "told", "says"),
    [
        (1, 2, "bright metal called oxide"),
        (2, 1, "oxide called bright metal"),
        (3, 1, "pit called bright metal"),
        (4, 1, "coating called bright metal"),
        (5, 1, "foreign matter called bright metal"),
        (1, 4, "bright metal called coating"),
        (2, 0, "oxide called not this work"),
        (1, 255, "bright metal: cannot tell"),
    ],
)
def test_a_mistake_is_named_by_what_it_is_and_what_it_was_called(truly, told, says):
    assert map_causes(compared([told, 1, 1, 1], [truly, 1, 1, 1])) == ((says, 0.25),)


@pytest.mark.parametrize(("truly", "told"), [(1, 1), (2, 5), (3, 2), (4, 0), (4, 255)])
def test_what_comes_to_the_same_is_no_mistake(truly, told):
    assert map_causes(compared([told, 1], [truly, 1])) == ()


def test_the_largest_mistake_comes_first():
    found = map_causes(compared([2, 2, 1, 1], [1, 1, 2, 1]))
    assert [what for what, _ in found] == ["bright metal called oxide", "oxide called bright metal"]


def test_a_spot_that_is_half_missed_is_said():
    assert map_causes(compared([1, 1], [1, 1], spots=[True, False])) == (("spot missed", 0.5),)


def test_a_perfect_photo_is_not_bad_and_a_reversed_one_without_spot_is_as_bad_as_can_be():
    assert map_badness(compared([1, 2], [1, 2])) == 0
    assert map_badness(compared([2, 1], [1, 2], spots=[False, False])) == 1


def test_points_are_wrong_by_kind_too():
    made = point_tally(np.array([1, 2, 255, 1], np.uint8), np.array([4, 1, 2, 1], np.uint8))
    assert dict(point_causes(made)) == {
        "coating called bright metal": 0.25,
        "bright metal called oxide": 0.25,
        "oxide: cannot tell": 0.25,
    }
    assert point_badness(made) == pytest.approx(0.5 + 0.25 * 0.25)


def test_a_photo_without_a_scored_point_is_not_bad():
    assert point_badness(point_tally(np.array([1], np.uint8), np.array([9], np.uint8))) == 0


def test_pits_called_bright_are_said():
    pits = np.zeros((8, 8), bool)
    pits[2:4, 2:4] = True
    made = pit_tally(np.full((8, 8), State.BRIGHT, np.uint8), pits, np.zeros((8, 8), bool))
    assert pit_causes(made) == (("pit called bright metal", 1.0),)
