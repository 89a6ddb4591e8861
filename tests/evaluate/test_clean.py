"""The standing rule applied to the truth itself."""

from pathlib import Path

import numpy as np
import pytest

from prepcheck.evaluate.clean import CLEAN, DIRTY, NO_SPOT, what_it_is
from prepcheck.evaluate.truth import Truth
from prepcheck.settings import Settings
from prepcheck.terms import State
from tests.painted import plate


def truth(*patches, mm_per_px=0.25, ground=None):
    states = plate(*patches)
    return Truth(Path("a.jpg"), states, (states != State.COATING) if ground is None else ground, "a", mm_per_px, {})


def test_a_spot_without_residue_is_clean():
    assert what_it_is(truth(), Settings()) == CLEAN


def test_a_patch_longer_than_the_limit_is_not():
    assert what_it_is(truth((State.OXIDE, 320, 240, 10)), Settings()) == DIRTY  # 21 px, 5 mm


def test_the_same_patch_on_a_finer_scale_is_short_enough():
    assert what_it_is(truth((State.OXIDE, 320, 240, 10), mm_per_px=0.05), Settings()) == CLEAN


@pytest.mark.parametrize("hole", [State.BACKGROUND, State.CANNOT_TELL])
def test_a_hole_or_what_is_not_labelled_counts_for_nothing(hole):
    states = plate((hole, 320, 240, 60))
    ground = plate() != State.COATING
    assert what_it_is(Truth(Path("a.jpg"), states, ground, "a", 0.25, {}), Settings()) == CLEAN


def test_coating_in_a_narrow_notch_of_the_ground_area_is_none_of_it():
    states = plate()
    states[90:160, 318:322] = State.COATING  # narrower than what finding spots bridges, and longer than a patch may be
    assert what_it_is(Truth(Path("a.jpg"), states, states != State.COATING, "a", 0.25, {}), Settings()) == CLEAN


def test_more_residue_than_the_limit_in_one_unit_area_is_not_clean_however_short_its_patches():
    states = plate()
    states[240:300:4, 250:330:4] = State.OXIDE
    states[241:301:4, 250:330:4] = State.OXIDE
    states[240:300:4, 251:331:4] = State.OXIDE
    states[241:301:4, 251:331:4] = State.OXIDE
    ground = plate() != State.COATING
    share = np.mean(states[ground] == State.OXIDE)
    assert share < Settings().score.residue_limit
    assert what_it_is(Truth(Path("a.jpg"), states, ground, "a", 0.6, {}), Settings()) == DIRTY


def test_a_photo_without_a_spot_is_neither():
    assert what_it_is(truth(ground=np.zeros((480, 640), bool)), Settings()) == NO_SPOT
