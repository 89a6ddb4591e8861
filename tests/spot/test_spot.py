"""Finding ground spots."""

import cv2
import numpy as np
import pytest

from prepcheck.settings import Settings
from prepcheck.spot import NoSpot, drawn_spots, find_spots, touches_edge
from prepcheck.terms import State
from tests.scenes import plate, surface_of

SETTINGS = Settings()


def with_discs(*discs, states=None):
    states = plate() if states is None else states
    for x, y, r in discs:
        cv2.circle(states, (x, y), r, int(State.BRIGHT), -1)
    return states


def test_one_disc_is_one_spot_of_its_area():
    (spot,) = find_spots(surface_of(with_discs((160, 120, 50))), SETTINGS)
    assert spot.mask.sum() == pytest.approx(np.pi * 50**2, rel=0.03)


def test_residue_and_pits_inside_the_outline_belong_to_the_spot():
    states = with_discs((160, 120, 60))
    cv2.circle(states, (160, 120), 20, int(State.COATING), -1)
    (spot,) = find_spots(surface_of(states), SETTINGS)
    assert spot.mask[120, 160]


def test_spots_are_numbered_in_reading_order():
    states = with_discs((250, 60, 25), (70, 66, 25), (160, 180, 25))
    spots = find_spots(surface_of(states), SETTINGS)
    centres = [np.argwhere(spot.mask).mean(axis=0).round() for spot in spots]
    assert [spot.number for spot in spots] == [1, 2, 3]
    assert [int(c[1]) for c in centres] == [70, 250, 160]


def test_nothing_ground_is_no_spot_with_a_reason():
    found = find_spots(surface_of(plate()), SETTINGS)
    assert isinstance(found, NoSpot)
    assert "ground metal" in found.reason


def test_specks_are_no_spots():
    found = find_spots(surface_of(with_discs((160, 120, 5))), SETTINGS)
    assert isinstance(found, NoSpot)
    assert "smaller" in found.reason


def test_the_outline_is_in_full_size_pixels():
    (spot,) = find_spots(surface_of(with_discs((160, 120, 50)), reduction=(4.0, 4.0)), SETTINGS)
    assert spot.outline.mean(axis=0) == pytest.approx([641.5, 481.5], abs=8)


def test_a_spot_at_the_edge_is_noticed():
    (cut,) = find_spots(surface_of(with_discs((10, 120, 50))), SETTINGS)
    (whole,) = find_spots(surface_of(with_discs((160, 120, 50))), SETTINGS)
    assert touches_edge(cut)
    assert not touches_edge(whole)


def test_coating_along_the_rim_is_no_part_of_the_spot():
    states = with_discs((160, 120, 50))
    surface = surface_of(states)
    wide = np.zeros_like(states)
    cv2.circle(wide, (160, 120), 51, 1, -1)
    loose = type(surface)(
        states, surface.bright, wide.astype(np.float32), surface.burnt, surface.reduction, surface.model
    )
    (spot,) = find_spots(loose, SETTINGS)
    assert not (states[spot.mask] == State.COATING).any()


def test_a_drawn_outline_becomes_a_spot_of_the_person():
    surface = surface_of(plate(), reduction=(2.0, 2.0))
    (spot,) = drawn_spots(
        [np.array([[100.0, 100.0], [300.0, 100.0], [300.0, 200.0], [100.0, 200.0]])], surface, first=3
    )
    assert (spot.number, spot.outlined_by) == (3, "person")
    assert spot.mask.sum() == pytest.approx(100 * 50, rel=0.05)
