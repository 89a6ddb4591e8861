"""The picture with numbered crosses."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from prepcheck.agreement.crosses import draw_crosses
from prepcheck.agreement.grid import Grid, lay_grid

GREY = np.full((480, 640, 3), 128, np.uint8)


def drawn(laid: Grid, rgb: np.ndarray = GREY, reduction: float = 1) -> np.ndarray:
    data = np.frombuffer(draw_crosses(rgb, reduction, laid), np.uint8)
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))


def test_the_point_itself_stays_free_between_arms_of_dark_and_light() -> None:
    picture = drawn(Grid(np.array([[320.0, 240]]), 200, 0)).astype(int)
    y, x = 240, 320
    assert abs(picture[y - 1 : y + 2, x - 1 : x + 2] - 128).max() < 30
    around = picture[y - 25 : y + 26, x - 25 : x + 26]
    assert around.max() > 220
    assert around.min() < 40


def test_every_point_has_a_cross() -> None:
    laid = lay_grid((640, 480), 12, 3)
    picture = drawn(laid).astype(int)
    for x, y in np.round(laid.points).astype(int):
        arm = picture[max(0, y - 1) : y + 2, max(0, x - 14) : x + 15]
        assert abs(arm - 128).max() > 60


def test_the_picture_is_in_colour_as_the_photo() -> None:
    red = np.zeros((480, 640, 3), np.uint8)
    red[..., 0] = 200
    blue, green, seen = drawn(Grid(np.array([[320.0, 240]]), 200, 0), red)[400, 100]
    assert seen > 150 > 60 > max(blue, green)


def test_a_small_spot_is_cut_out_and_enlarged_until_numbers_stay_apart() -> None:
    outline = np.array([[100.0, 100], [200, 100], [200, 200], [100, 200]])
    laid = lay_grid((640, 480), 25, 1, outline)
    assert laid.pitch == pytest.approx(20)
    picture = drawn(laid)
    assert picture.shape[0] == pytest.approx(140 * 90 / 20, abs=8)


def test_points_of_a_large_photo_lie_on_its_reduced_raster() -> None:
    picture = drawn(Grid(np.array([[1281.5, 961.5]]), 800, 0), reduction=4).astype(int)
    assert abs(picture[:, :290] - 128).max() < 30
    assert abs(picture[230:252, 310:332] - 128).max() > 60


def test_a_fine_grid_never_makes_a_picture_without_bounds() -> None:
    laid = lay_grid((640, 480), 2000, 1)
    assert max(drawn(laid).shape) <= 6000
