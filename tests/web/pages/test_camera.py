from __future__ import annotations

from dataclasses import replace

import pytest

from prepcheck.store import SpotStory, Story
from prepcheck.terms import Standing
from prepcheck.web.pages.camera import camera_for, newest, proposed_pass
from tests.report.job.made import JOB, spots


def after(standing, pass_no=3):
    spot = spots()[0]
    last = spot.passes[-1]
    seen = replace(last.inspections[-1], standing=standing)
    return replace(spot, passes=(*spot.passes[:-1], replace(last, pass_no=pass_no, inspections=(seen,))))


@pytest.mark.parametrize(
    ("standing", "proposed"),
    [(Standing.BRIGHT, 4), (Standing.RESIDUE_LEFT, 4), (Standing.CANNOT_TELL, 3), (Standing.RETAKE, 3)],
)
def test_the_same_surface_is_the_same_pass(standing, proposed):
    assert proposed_pass(after(standing)) == proposed


def test_a_new_spot_begins_with_pass_1():
    assert proposed_pass(SpotStory(1, "", ())) == 1


def test_no_pass_is_proposed_that_cannot_be_logged():
    assert proposed_pass(after(Standing.BRIGHT, pass_no=99)) == 99


def test_the_camera_says_where_the_photo_belongs():
    assert camera_for(JOB, spots()[0]).where == "J-0007, Spot 1, lower seam, pass 4"


def test_the_newest_inspection_is_the_one_with_the_highest_number():
    spot, one = newest(Story(JOB, spots()))
    assert (spot.number, one.number) == (2, 5)
    assert newest(Story(JOB, ())) is None
