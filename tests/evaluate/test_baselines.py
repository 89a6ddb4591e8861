"""The baseline rule."""

import numpy as np
import pytest

from prepcheck.evaluate.baselines import by_brightness, lightness, otsu
from prepcheck.terms import State


def test_otsu_on_the_test_array_of_scikit_image():
    # scikit-image, test_thresholding.py (TestSimpleImage): the threshold of this array is 2.
    array = [[0, 0, 1, 3, 5], [0, 1, 4, 3, 4], [1, 2, 5, 4, 1], [2, 4, 5, 2, 1], [4, 5, 1, 0, 0]]
    assert otsu(np.array(array, np.uint8)) == 2


@pytest.mark.parametrize(("level", "expected"), [(117.65, 49.4961), (187.5, 76.0693), (255.0, 100.0), (0.0, 0.0)])
def test_lightness_is_that_of_cie_lab(level, expected):
    # 18 % and 50 % grey in sRGB (IEC 61966-2-1) have L* 49.4961 and 76.0693 (CIE Lab, computed); both sides in steps of 1/255.
    rgb = np.full((1, 1, 3), round(level), np.uint8)
    assert float(lightness(rgb)[0, 0]) * 100 / 255 == pytest.approx(expected, abs=0.5)


def test_an_even_picture_has_a_threshold_too():
    assert otsu(np.full((4, 4), 7, np.uint8)) in range(256)


def test_the_brighter_class_of_the_ground_is_called_bright():
    rgb = np.full((10, 20, 3), 90, np.uint8)
    rgb[:, 10:] = 200
    ground = np.zeros((10, 20), bool)
    ground[2:8, 5:15] = True
    states = by_brightness(rgb, ground)
    assert (states[5, 7], states[5, 12], states[0, 0]) == (State.OXIDE, State.BRIGHT, State.BACKGROUND)
