from __future__ import annotations

import cv2
import numpy as np
import pytest

from prepcheck.agreement.crosses import draw_point
from prepcheck.agreement.grid import Grid

LAID = Grid(np.array([[100.0, 60.0], [0.0, 0.0]]), 20, 0)


def seen(number=1, across=60.0, reduction=1.0, width=360):
    """Draw one red pixel block of 9 x 9 full-size pixels round the first point, and read the picture again."""
    h, w = round(120 / reduction), round(200 / reduction)
    rgb = np.full((h, w, 3), 90, np.uint8)
    (x, y), half = LAID.points[0], 4
    low, high = ((np.array([[x - half, y - half], [x + half, y + half]]) + 0.5) / reduction - 0.5).round().astype(int)
    rgb[low[1] : high[1] + 1, low[0] : high[0] + 1] = (220, 0, 0)
    data = draw_point(rgb, reduction, LAID, number, across, width)
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)


def is_red(picture):
    return (picture[..., 2] > 150) & (picture[..., 0] < 80)


@pytest.mark.parametrize("reduction", [1.0, 2.0])
def test_the_point_lies_in_the_middle_and_is_free(reduction):
    picture = seen(reduction=reduction)
    assert picture.shape == (270, 360, 3)
    assert is_red(picture)[135, 180]
    y, x = np.nonzero(is_red(picture))
    assert (np.median(x), np.median(y)) == (pytest.approx(180, abs=6), pytest.approx(135, abs=6))


def test_across_says_how_much_is_shown():
    """A block of 9 pixels is 54 of 360 wide where 60 pixels are shown."""
    wide = np.ptp(np.nonzero(is_red(seen()))[1]) + 1
    assert wide == pytest.approx(54, abs=4)


def test_what_lies_beside_the_photo_is_grey():
    picture = seen(number=2)
    assert picture[20, 20] == pytest.approx(128, abs=6)
