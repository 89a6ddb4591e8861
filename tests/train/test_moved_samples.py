"""Where moved and still sets part, from made movements."""

import numpy as np
import pytest

pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.train.moved_samples import Sample, least_moved, movements

NOTHING = np.zeros((0, 2), np.float32)


def pair(moved, case):
    return Sample(0, 2, NOTHING, np.zeros((0, 7), np.float32), np.zeros(0, np.uint8), moved, case)


def test_the_threshold_of_movement_lies_between_still_and_moved():
    found = movements([pair(0.01, "still"), pair(0.2, "moved"), pair(0.2, "moved")])
    assert (found["threshold"], found["mixed_up"]) == (pytest.approx(0.105), 0)


def test_without_still_sets_no_threshold_is_found():
    assert movements([pair(0.2, "moved")]) == {}


def test_overlapping_movements_are_parted_where_fewest_are_mixed_up():
    threshold, mixed = least_moved([0.1, 0.3, 0.4, 0.5], [0.0, 0.05, 0.2, 0.02])
    assert 0.05 < threshold < 0.3
    assert mixed == pytest.approx(0.125)
