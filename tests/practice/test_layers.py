from __future__ import annotations

import numpy as np
import pytest

from prepcheck.practice import Layer, differ, draw
from prepcheck.practice.layers import BOTH, NOT_SURE, ONLY_MARKED, ONLY_OTHER
from tests.practice.scenes import SHAPE, answer, area, mark, photo, surface

MARKED, OTHER = area(5, 5, 40, 30), area(5, 20, 40, 40)
DOUBT = area(50, 60, 10, 20)


@pytest.fixture(scope="module")
def difference():
    return differ(mark(MARKED, DOUBT), answer(OTHER), photo(), surface(np.ones(SHAPE, np.uint8)))


def at(picture, mask):
    """Return the part of a picture inside a mask, without a rim of 4 pixels of the map."""
    import cv2

    inside = cv2.erode(mask.astype(np.uint8), np.ones((5, 5), np.uint8))
    inside = cv2.resize(inside, picture.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    return picture[inside > 0]


def inks(part):
    return {tuple(colour) for colour in part[part[:, 3] > 0][:, :3].tolist()} - {(255, 255, 255)}


def test_a_layer_is_as_large_as_a_screen(difference):
    assert draw(difference, Layer.DIFFERENCE, 640).shape == (480, 640, 4)


@pytest.mark.parametrize(
    ("where", "pattern"),
    [(MARKED & OTHER, BOTH), (MARKED & ~OTHER, ONLY_MARKED), (OTHER & ~MARKED, ONLY_OTHER), (DOUBT, NOT_SURE)],
)
def test_each_part_of_the_difference_has_its_own_ink(difference, where, pattern):
    assert inks(at(draw(difference, Layer.DIFFERENCE, 640), where)) == {pattern.ink}


def test_patterns_differ_without_colour(difference):
    """Level lines leave whole rows free, slanted ones do not."""
    picture = draw(difference, Layer.DIFFERENCE, 640)
    ink = (picture[..., :3] != 255).all(axis=2) & (picture[..., 3] > 0)
    level, slanted = ink[100:300, 340:460], ink[100:300, 60:140]
    assert {*level.mean(axis=1).tolist()} == {0.0, 1.0}
    assert slanted.mean(axis=1).min() > 0
    assert slanted.mean(axis=1).max() < 1


def test_between_the_lines_the_photo_stays_visible(difference):
    assert 0.2 < (at(draw(difference, Layer.DIFFERENCE, 640), MARKED & ~OTHER)[:, 3] == 0).mean() < 0.8


def test_one_side_alone_shows_all_of_that_side(difference):
    picture = draw(difference, Layer.MARKED, 640)
    assert inks(at(picture, MARKED)) == {ONLY_MARKED.ink}
    assert not at(picture, OTHER & ~MARKED)[:, 3].any()
    assert inks(at(draw(difference, Layer.OTHER, 640), OTHER)) == {ONLY_OTHER.ink}


def test_nothing_marked_draws_nothing():
    nothing = np.zeros(SHAPE, bool)
    d = differ(mark(nothing), answer(nothing), photo(), surface(np.ones(SHAPE, np.uint8)))
    assert not draw(d, Layer.DIFFERENCE).any()
