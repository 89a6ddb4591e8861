from __future__ import annotations

import numpy as np
import pytest

from prepcheck.photo.percentile import percentile

RNG = np.random.default_rng(7)


@pytest.mark.parametrize("percent", [0, 20, 50, 85, 90, 99.5, 100])
@pytest.mark.parametrize("count", [1, 2, 16, 999])
def test_a_percentile_is_that_of_numpy(count, percent):
    values = RNG.normal(0, 40, count)
    assert percentile(values, percent) == pytest.approx(np.percentile(values, percent), rel=1e-12)


def test_a_percentile_of_a_grey_picture_is_taken_over_all_its_pixels():
    grey = RNG.integers(0, 256, (48, 64), dtype=np.uint8)
    assert percentile(grey[::3, ::3], 90) == pytest.approx(np.percentile(grey[::3, ::3], 90), rel=1e-12)


def test_values_are_left_as_they_were():
    values = np.array([3.0, 1.0, 2.0])
    percentile(values, 50)
    assert values.tolist() == [3.0, 1.0, 2.0]


def test_levels_are_counted_for_a_percentile_between_two_of_them():
    assert percentile(np.array([7, 200, 200, 9], np.uint8), 50) == 104.5
