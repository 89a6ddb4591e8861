"""Bright share and its interval."""

import numpy as np
import pytest

from prepcheck.score.share import bright_share, state_shares
from prepcheck.surface import ModelOrigin
from prepcheck.terms import State
from tests.scenes import plate, surface_of


def everywhere(states):
    return np.ones(states.shape, bool)


def test_the_share_is_bright_pixels_over_readable_ones():
    states = plate(10, 10, State.BRIGHT)
    states[:2] = State.OXIDE
    states[2:4] = State.CANNOT_TELL
    share = bright_share(surface_of(states), everywhere(states))
    assert (share.value, share.readable) == (pytest.approx(60 / 80), pytest.approx(0.8))


@pytest.mark.parametrize("state", [State.OXIDE, State.PIT, State.COATING, State.FOREIGN])
def test_each_residue_state_lowers_the_share_alike(state):
    states = plate(10, 10, State.BRIGHT)
    states[:3] = state
    assert bright_share(surface_of(states), everywhere(states)).value == pytest.approx(0.7)


def test_more_residue_never_raises_the_share():
    rng = np.random.default_rng(3)
    states = plate(40, 40, State.BRIGHT)
    values = []
    for place in rng.permutation(1600)[:800].reshape(20, 40):
        states.flat[place] = State.OXIDE
        values.append(bright_share(surface_of(states), everywhere(states)).value)
    assert values == sorted(values, reverse=True)


def test_a_sure_and_exact_model_gives_no_width():
    states = plate(10, 10, State.BRIGHT)
    share = bright_share(surface_of(states), everywhere(states))
    assert (share.low, share.high) == (1.0, 1.0)


def test_the_width_grows_with_the_expected_share_of_wrong_pixels():
    # By hand: u = min(0.8, 0.2) = 0.2, scale 1.5, floor 0.02 -> half width 1.5 * 0.22 = 0.33 around 0.5.
    model = ModelOrigin("m", "0" * 64, 0.5, error_scale=1.5, error_floor=0.02)
    states = plate(10, 10, State.BRIGHT)
    states[:5] = State.OXIDE
    share = bright_share(surface_of(states, probability=0.8, model=model), everywhere(states))
    assert (share.low, share.high) == (pytest.approx(0.17, abs=1e-6), pytest.approx(0.83, abs=1e-6))


def test_at_the_bad_end_all_that_cannot_be_told_is_residue():
    states = plate(10, 10, State.BRIGHT)
    states[:1] = State.CANNOT_TELL
    share = bright_share(surface_of(states), everywhere(states))
    assert (share.least_residue, share.most_residue) == (pytest.approx(0.0), pytest.approx(0.1))


def test_nothing_readable_gives_no_share_and_the_widest_interval():
    states = plate(10, 10, State.CANNOT_TELL)
    share = bright_share(surface_of(states), everywhere(states))
    assert (share.value, share.low, share.high, share.most_residue) == (None, 0.0, 1.0, 1.0)


def test_the_shares_of_all_states_sum_to_one():
    states = np.random.default_rng(1).choice([s.value for s in State], size=(50, 60)).astype(np.uint8)
    assert sum(state_shares(surface_of(states), everywhere(states)).values()) == pytest.approx(1.0)
