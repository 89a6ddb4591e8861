"""Hatches can be told apart without colour."""

from __future__ import annotations

from itertools import combinations

import cv2
import numpy as np
import pytest

from prepcheck.report.hatch import HATCHES, hatch
from prepcheck.terms import RESIDUE, State

UNIT = 3.0


def in_grey(state: State, level: int = 150) -> np.ndarray:
    picture = np.full((240, 240, 3), level, np.uint8)
    hatch(picture, np.ones((240, 240), bool), state, UNIT)
    return cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)


def texture(state: State) -> np.ndarray:
    """Direction of edges (as a doubled angle), strength of slanted ones, and twice the share of ink."""
    grey = in_grey(state).astype(np.float64)
    gx, gy = cv2.Sobel(grey, cv2.CV_64F, 1, 0), cv2.Sobel(grey, cv2.CV_64F, 0, 1)
    energy = (gx**2 + gy**2).sum()
    slanted = np.abs(2 * gx * gy).sum() / energy
    return np.array([(gx**2 - gy**2).sum() / energy, (2 * gx * gy).sum() / energy, slanted, 2 * np.mean(grey < 110)])


def test_every_residue_and_doubt_has_a_hatch() -> None:
    assert set(HATCHES) == {*RESIDUE, State.CANNOT_TELL}


@pytest.mark.parametrize(("one", "other"), list(combinations(HATCHES, 2)))
def test_two_hatches_differ_in_grey(one: State, other: State) -> None:
    assert np.linalg.norm(texture(one) - texture(other)) > 0.3


@pytest.mark.parametrize("level", [0, 60, 128, 200, 255])
@pytest.mark.parametrize("state", list(HATCHES))
def test_a_hatch_shows_on_dark_and_on_light_metal(state: State, level: int) -> None:
    assert np.ptp(in_grey(state, level)) > 130


@pytest.mark.parametrize("state", list(HATCHES))
def test_a_third_of_the_metal_stays_visible_under_a_hatch(state: State) -> None:
    picture = np.full((240, 240, 3), 150, np.uint8)
    hatch(picture, np.ones((240, 240), bool), state, UNIT)
    assert np.mean(np.all(picture == 150, axis=2)) > 0.3


def test_a_hatch_keeps_within_its_mask() -> None:
    picture = np.full((240, 240, 3), 150, np.uint8)
    mask = np.zeros((240, 240), bool)
    mask[50:90, 60:200] = True
    hatch(picture, mask, State.PIT, UNIT)
    assert np.all(picture[~mask] == 150)
