from __future__ import annotations

import itertools

import cv2
import numpy as np
import pytest

from prepcheck.photo import from_bytes, hash_distance
from prepcheck.photo.picture_hash import picture_hash
from prepcheck.settings import Settings
from tests.photo.pictures import jpeg, scene

SCENES = [scene(1280, 960, seed) for seed in range(6)]
NEAR = Settings().store.near_duplicate_bits


@pytest.mark.parametrize("rgb", SCENES)
def test_saving_again_hardly_changes_the_hash(rgb):
    again = from_bytes(jpeg(rgb, 50), "a.jpg", Settings())
    assert hash_distance(again.picture_hash, picture_hash(rgb)) <= NEAR


@pytest.mark.parametrize("rgb", SCENES)
def test_halving_and_saving_again_hardly_changes_the_hash(rgb):
    half = cv2.resize(rgb, (640, 480), interpolation=cv2.INTER_AREA)
    again = from_bytes(jpeg(half, 50), "a.jpg", Settings())
    assert hash_distance(again.picture_hash, picture_hash(rgb)) <= NEAR


@pytest.mark.parametrize("rgb", SCENES[:3])
def test_another_brightness_hardly_changes_the_hash(rgb):
    assert hash_distance(picture_hash(cv2.convertScaleAbs(rgb, alpha=0.8)), picture_hash(rgb)) <= NEAR


def test_other_pictures_differ_by_far_more():
    hashes = [picture_hash(rgb) for rgb in SCENES]
    assert min(hash_distance(a, b) for a, b in itertools.combinations(hashes, 2)) >= 4 * NEAR


def test_the_hash_is_sixteen_hexadecimal_digits():
    digits = picture_hash(SCENES[0])
    assert len(digits) == 16
    int(digits, 16)


def test_a_picture_without_structure_has_a_hash_too():
    assert picture_hash(np.zeros((50, 60, 3), np.uint8)) == picture_hash(np.full((50, 60, 3), 255, np.uint8))


@pytest.mark.parametrize(
    ("a", "b", "bits"), [("0" * 16, "0" * 16, 0), ("0" * 16, "f" * 16, 64), ("8" + "0" * 15, "1" + "0" * 15, 2)]
)
def test_the_distance_counts_differing_bits(a, b, bits):
    assert hash_distance(a, b) == bits
