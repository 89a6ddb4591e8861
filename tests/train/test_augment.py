"""Photographs made hard: boxes swapped alike in pictures and in what is said of them; other light."""

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.train.augment import relight, swap_boxes  # noqa: E402


def numbered(count, *size):
    """Pictures that hold nothing but their number."""
    return torch.arange(float(count)).view(-1, 1, 1, 1).expand(count, 2, *size)


def test_boxes_come_from_the_picture_before():
    (swapped,) = swap_boxes(np.random.default_rng(1), numbered(4, 32, 48))
    for k, picture in enumerate(swapped):
        assert set(picture.unique().tolist()) == {float(k), float((k - 1) % 4)}


def test_what_is_said_moves_with_the_picture():
    pictures, said = swap_boxes(np.random.default_rng(1), numbered(4, 64, 96), numbered(4, 32, 48))
    moved = torch.nn.functional.interpolate(said, (64, 96), mode="nearest") != pictures
    assert moved.float().mean() < 0.05  # half a pixel of the smaller one along the boxes' edges


def test_other_light_keeps_black_and_the_range():
    pictures = torch.rand(3, 3, 40, 60)
    pictures[:, :, :20] = 0
    lit = relight(np.random.default_rng(2), pictures)
    assert (lit[:, :, :20] == 0).all()
    assert 0 <= lit.min() <= lit.max() <= 1


def test_other_light_falls_unevenly():
    lit = relight(np.random.default_rng(2), torch.full((1, 3, 40, 60), 0.3))
    assert lit.std() > 0.02
