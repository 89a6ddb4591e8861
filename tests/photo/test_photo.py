from __future__ import annotations

from dataclasses import replace

import numpy as np

from prepcheck.photo import Photo


def photo(width: int, height: int) -> Photo:
    rgb = np.random.default_rng(3).integers(0, 256, (height, width, 3), dtype=np.uint8)
    return Photo("a.jpg", "0" * 64, 1, "JPEG", width, height, rgb)


def test_a_view_is_no_longer_than_asked():
    assert photo(300, 200).view(150).rgb.shape == (100, 150, 3)


def test_a_small_photo_is_its_own_view():
    small = photo(30, 20)
    assert small.view(150).rgb is small.rgb


def test_a_view_is_made_once():
    one = photo(300, 200)
    assert one.view(150) is one.view(150)


def test_another_picture_has_views_of_its_own():
    one = photo(300, 200)
    one.view(150)
    other = replace(one, rgb=255 - one.rgb)
    assert other.view(150).grey.mean() != one.view(150).grey.mean()
