"""The baseline rule."""

import numpy as np
import pytest

from prepcheck.evaluate.baselines import (
    RULES,
    at_full_size,
    by_brightness,
    by_grabcut,
    by_texture,
    by_two_means,
    lightness,
    otsu,
)
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


def halves(left, right, size=(120, 160)):
    """Two halves of grey levels (mean, deviation of the grain) inside a blue coating, and the ground area that they fill."""
    rng = np.random.default_rng(0)
    mean, spread = (np.repeat([a, b], size[1] // 2) for a, b in zip(left, right, strict=True))
    grey = np.clip(mean + spread * rng.normal(size=size), 0, 255).astype(np.uint8)
    ground = np.zeros(size, bool)
    ground[10:-10, 10:-10] = True
    return np.where(ground[..., None], grey[..., None], np.array([20, 40, 160], np.uint8)), ground


@pytest.mark.parametrize("rule", [by_brightness, by_two_means, by_grabcut])
def test_the_lighter_half_is_called_bright(rule):
    states = rule(*halves((90, 6), (190, 6)))
    assert np.mean(states[20:-20, 20:70] == State.OXIDE) > 0.98
    assert np.mean(states[20:-20, 90:-20] == State.BRIGHT) > 0.98


def test_the_rougher_half_is_called_bright_whatever_its_lightness():
    states = by_texture(*halves((190, 2), (120, 30)))
    assert np.mean(states[20:-20, 20:70] == State.OXIDE) > 0.98
    assert np.mean(states[20:-20, 90:-20] == State.BRIGHT) > 0.98


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_an_even_picture_is_answered_and_nothing_outside_the_ground_area_is(rule):
    rgb, ground = np.full((40, 60, 3), 128, np.uint8), np.zeros((40, 60), bool)
    ground[5:20, 5:30] = True
    states = rule(rgb, ground)
    assert set(np.unique(states[ground])) <= {State.BRIGHT, State.OXIDE}
    assert not states[~ground].any()


def test_a_rule_works_on_the_reduced_photo_and_answers_at_full_size():
    sizes = []

    def rule(rgb, ground):
        sizes.append(rgb.shape)
        return ground.astype(np.uint8)

    states = at_full_size(rule, np.zeros((900, 1200, 3), np.uint8), np.ones((900, 1200), bool))
    assert (sizes, states.shape) == ([(450, 600, 3)], (900, 1200))
