from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis.extra.numpy import arrays

from prepcheck.practice import differ, of_tool, of_truth
from prepcheck.terms import State
from tests import painted
from tests.practice.scenes import SHAPE, answer, area, inspected, mark, photo, surface

PLAIN = surface(np.ones(SHAPE, np.uint8))
MASKS = arrays(np.bool_, SHAPE)


def beside(marked, residue, *, scale=None, at=PLAIN, **more):
    """Hold a mark against an answer."""
    unsure = more.pop("doubt", None)
    return differ(mark(marked, unsure), answer(residue, **more), photo(mm_per_px=scale), at)


def count(mask) -> int:
    return int(np.count_nonzero(mask))


@settings(max_examples=20)
@given(MASKS, MASKS, MASKS, MASKS, MASKS)
def test_every_pixel_of_the_ground_area_is_in_one_part_alone(marked, residue, doubt, unsure, ground):
    d = beside(marked, residue & ground, doubt=doubt, unsure=unsure & ground, ground=ground)
    parts = np.sum([d.both, d.only_marked, d.only_other, d.unsure], axis=0)
    assert parts.max() <= 1
    assert not parts[~ground].any()
    assert count(parts) + d.neither == count(ground) == d.ground


@settings(max_examples=20)
@given(MASKS, MASKS)
def test_the_sides_are_changed_by_changing_sides(one, other):
    there, back = beside(one, other), beside(other, one)
    assert (there.only_marked == back.only_other).all()
    assert (there.both == back.both).all()
    assert there.neither == back.neither


def test_what_is_marked_outside_the_ground_area_is_compared_with_nothing():
    d = beside(area(0, 0, 10, 10), area(20, 20, 5, 5), ground=area(20, 20, 30, 30))
    assert (count(d.outside), count(d.only_marked), count(d.only_other)) == (100, 0, 25)


def test_burnt_out_pixels_are_left_out_of_everything():
    burnt = surface(np.ones(SHAPE, np.uint8), area(0, 0, 60, 40))
    d = beside(area(0, 30, 10, 20), area(0, 0, 10, 10), at=burnt)
    assert (d.ground, count(d.only_marked), count(d.only_other)) == (60 * 40, 100, 0)


def test_where_both_are_not_sure_is_told_apart():
    d = beside(area(0, 0, 0, 0), area(0, 0, 0, 0), doubt=area(0, 0, 10, 10), unsure=area(0, 5, 10, 10))
    assert (count(d.unsure), count(d.neither_sure)) == (150, 50)


def test_the_scale_is_the_area_of_a_pixel():
    assert beside(area(0, 0, 9, 9), area(0, 0, 9, 9), scale=0.5).mm2_per_px == pytest.approx(0.25)


def test_without_scale_nothing_is_told_in_mm2():
    d = beside(area(0, 0, 9, 9), area(0, 0, 9, 9))
    assert (d.mm2_per_px, d.least_px) == (None, pytest.approx(0.001 * 60 * 80))


# A patch counts from 3 mm2; it is found with a quarter of it marked, a marked one is off with less than half of it on
# residue (design, section 4).


@pytest.mark.parametrize(("pixels", "counted"), [(11, 0), (12, 1)])
def test_a_patch_counts_from_three_square_millimetres(pixels, counted):
    d = beside(area(0, 0, 0, 0), area(0, 0, 1, pixels), scale=0.5)
    assert len(d.of("other")) == counted


@pytest.mark.parametrize(("columns", "found"), [(4, False), (5, True)])
def test_a_patch_is_found_when_a_quarter_of_it_is_marked(columns, found):
    (patch,) = beside(area(0, 0, 20, columns), area(0, 0, 20, 20)).of("other")
    assert (not patch.missed) == found


@pytest.mark.parametrize(("columns", "off"), [(9, True), (10, False)])
def test_a_marked_patch_is_off_when_less_than_half_of_it_is_residue(columns, off):
    (patch,) = beside(area(0, 0, 20, 20), area(0, 0, 20, columns)).of("marked")
    assert patch.missed == off


def test_a_patch_that_somebody_was_not_sure_of_counts_once_and_is_not_found():
    d = beside(area(0, 0, 0, 0), area(0, 0, 10, 30), doubt=area(0, 10, 10, 10))
    (patch,) = d.of("other")
    assert (patch.px, patch.missed) == (300, True)


def test_a_mark_where_the_answer_is_not_sure_is_not_off():
    assert beside(area(0, 0, 10, 10), area(40, 0, 9, 9), unsure=area(0, 0, 20, 20)).of("marked") == ()


def test_patches_are_told_the_largest_first_at_a_place_inside():
    d = beside(area(0, 0, 5, 5), area(30, 40, 10, 10))
    assert [patch.px for patch in d.patches] == [100, 25]
    x, y = d.patches[0].at
    assert (40 <= x <= 49, 30 <= y <= 39) == (True, True)


def test_the_place_of_a_bent_patch_lies_in_it():
    bent = area(0, 0, 30, 30) & ~area(5, 5, 30, 30)
    (patch,) = beside(area(0, 0, 0, 0), bent).of("other")
    x, y = (round(value) for value in patch.at)
    assert bent[y, x]


def test_the_tools_residue_lies_inside_its_own_outlines():
    """Coating round the spot is not its residue; oxide in it is."""
    told = of_tool(inspected((State.OXIDE, 320, 240, 40)))
    shape = told.residue.shape
    truth = cv2.resize(painted.plate((State.OXIDE, 320, 240, 40)), shape[::-1], interpolation=cv2.INTER_NEAREST)
    assert not told.residue[truth == State.COATING].any()
    assert told.residue[truth == State.OXIDE].mean() > 0.95


def test_the_truth_is_brought_to_the_size_of_the_map():
    states = painted.plate((State.PIT, 320, 240, 40), (State.CANNOT_TELL, 250, 240, 20))
    ground = np.where(np.isin(states, (State.COATING, State.BACKGROUND)), 0, 255).astype(np.uint8)
    told = of_truth(states, ground, (120, 160))
    assert told.against == "truth"
    assert count(told.residue) == pytest.approx(count(states == State.PIT) / 16, rel=0.02)
    assert count(told.unsure) == pytest.approx(count(states == State.CANNOT_TELL) / 16, rel=0.05)
    assert count(told.ground) == pytest.approx(count(ground) / 16, rel=0.02)
