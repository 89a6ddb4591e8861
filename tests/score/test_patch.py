"""Residue patches and their sizes."""

import numpy as np
import pytest

from prepcheck.score.joint import on_plane
from prepcheck.score.patch import extent, find_patches, pixel_areas
from prepcheck.settings import ScoreSettings
from prepcheck.terms import State
from tests.scenes import flat, plate, surface_of, tilted

RULE = ScoreSettings()


def patched(x0, y0, x1, y1, state=State.OXIDE):
    states = plate(fill=State.BRIGHT)
    states[y0:y1, x0:x1] = state
    return states


def test_a_rectangle_is_as_long_as_its_diagonal():
    # Pythagoras: 30 x 40 px -> 50 px, at 0.2 mm a pixel 10 mm.
    states = patched(100, 50, 130, 90)
    (patch,) = find_patches(surface_of(states), states > 0, flat(0.2), RULE)
    assert (patch.length_px, patch.length_mm) == (pytest.approx(50, abs=1e-4), pytest.approx(10, abs=1e-4))


def test_a_rectangle_has_the_area_of_its_sides():
    states = patched(100, 50, 130, 90)
    (patch,) = find_patches(surface_of(states), states > 0, flat(0.2), RULE)
    assert (patch.area_px, patch.area_mm2) == (1200, pytest.approx(1200 * 0.04))


def test_sizes_are_those_of_the_full_size_photo():
    states = patched(100, 50, 130, 90)
    (patch,) = find_patches(surface_of(states, reduction=(2.0, 2.0)), states > 0, flat(0.1), RULE)
    assert (patch.area_px, patch.length_mm) == (4800, pytest.approx(10, abs=1e-4))


def test_area_under_tilt_agrees_with_the_polygon_on_the_plane():
    # Second way of computing: the shoelace formula on the corners taken to the plane.
    states = patched(100, 50, 180, 150)
    plane = tilted(0.2, 40)
    surface = surface_of(states)
    corners = on_plane(plane, np.array([[99.5, 49.5], [179.5, 49.5], [179.5, 149.5], [99.5, 149.5]]))
    x, y = corners.T
    shoelace = abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2
    assert pixel_areas(surface, plane, states == State.OXIDE).sum() == pytest.approx(shoelace, rel=1e-3)


def test_the_longest_patch_comes_first():
    states = patched(10, 10, 20, 20)
    states[100:104, 100:200] = State.PIT
    patches = find_patches(surface_of(states), states > 0, None, RULE)
    assert [patch.state for patch in patches] == [State.PIT, State.OXIDE]


def test_the_named_place_lies_inside_a_ring():
    states = plate(fill=State.BRIGHT)
    y, x = np.mgrid[:240, :320]
    radius = np.hypot(x - 150, y - 120)
    states[(radius < 60) & (radius > 40)] = State.OXIDE
    (patch,) = find_patches(surface_of(states), states > 0, None, RULE)
    assert states[round(patch.at[1]), round(patch.at[0])] == State.OXIDE


def test_what_cannot_be_told_joins_no_patches():
    states = patched(10, 10, 20, 20)
    states[10:20, 20:30] = State.CANNOT_TELL
    states[10:20, 30:40] = State.OXIDE
    assert len(find_patches(surface_of(states), states > 0, None, RULE)) == 2


def test_the_extent_of_a_right_triangle_is_its_hypotenuse():
    assert extent(np.array([[0.0, 0.0], [3.0, 0.0], [0.0, 4.0], [1.0, 1.0]])) == pytest.approx(5.0)


def test_a_patch_at_the_limit_is_not_over_it():
    # Sides of 9 x 12 px have a diagonal of 15 px: 3 mm at 0.2 mm a pixel (Pythagoras), just over it at 0.201.
    surface, mask = surface_of(patched(100, 50, 109, 62)), np.ones((240, 320), bool)
    assert not find_patches(surface, mask, flat(0.1999), RULE)[0].long
    assert find_patches(surface, mask, flat(0.201), RULE)[0].long


def test_without_scale_the_limit_is_a_share_of_the_spots_width():
    states = patched(100, 50, 109, 62)
    wide, narrow = np.ones(states.shape, bool), np.zeros(states.shape, bool)
    narrow[40:100, 80:160] = True
    assert not find_patches(surface_of(states), wide, None, RULE)[0].long
    assert find_patches(surface_of(states), narrow, None, RULE)[0].long


def test_a_long_patch_is_sure_by_its_core_only():
    states = patched(100, 50, 140, 90)
    doubtful = surface_of(states, probability=0.7)
    assert not find_patches(doubtful, states > 0, flat(0.2), RULE)[0].sure
    doubtful.bright[60:80, 110:130] = 0.02
    assert find_patches(doubtful, states > 0, flat(0.2), RULE)[0].sure


def test_a_small_sure_core_makes_no_sure_patch():
    states = patched(100, 50, 140, 90)
    doubtful = surface_of(states, probability=0.7)
    doubtful.bright[60:66, 110:116] = 0.02
    assert not find_patches(doubtful, states > 0, flat(0.2), RULE)[0].sure
