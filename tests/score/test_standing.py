"""The standing rule (design, section 3), and the published figures it leans on."""

from statistics import NormalDist

import numpy as np
import pytest

from prepcheck.score import BrightShare, Patch, bright_share, stand
from prepcheck.score.unit_area import worst_unit_area
from prepcheck.settings import ScoreSettings, Settings
from prepcheck.spot import find_spots
from prepcheck.terms import Standing, State
from tests.scenes import flat, plate, surface_of

RULE = ScoreSettings()


def patch(long=True, sure=True):
    return Patch(State.OXIDE, (0.0, 0.0), 1.0, None, 1.0, 3.1, 0.9, long, sure)


def share(low, high, readable=1.0):
    return BrightShare((low + high) / 2, low, high, readable)


@pytest.mark.parametrize(
    ("low", "high", "readable", "standing"),
    [
        (0.95, 1.00, 1.00, Standing.BRIGHT),
        (0.94, 1.00, 1.00, Standing.CANNOT_TELL),
        (0.99, 1.00, 0.95, Standing.CANNOT_TELL),
        (0.90, 0.95, 1.00, Standing.CANNOT_TELL),
        (0.90, 0.94, 1.00, Standing.RESIDUE_LEFT),
        (0.00, 0.10, 0.05, Standing.CANNOT_TELL),
    ],
)
def test_both_ends_of_the_interval_decide(low, high, readable, standing):
    assert stand(share(low, high, readable), (), RULE)[0] == standing


def test_a_sure_patch_over_the_limit_leaves_residue_even_in_a_bright_spot():
    assert stand(share(0.99, 1.0), (patch(),), RULE)[0] == Standing.RESIDUE_LEFT


def test_a_doubtful_patch_over_the_limit_cannot_be_told():
    assert stand(share(0.99, 1.0), (patch(sure=False),), RULE)[0] == Standing.CANNOT_TELL


def test_a_patch_within_the_limit_leaves_a_spot_bright():
    assert stand(share(0.99, 1.0), (patch(long=False, sure=False),), RULE)[0] == Standing.BRIGHT


def test_the_reason_names_the_limit():
    assert "5%" in stand(share(0.5, 0.6), (), RULE)[1]


def test_a_guard_band_of_two_standard_deviations_accepts_wrongly_at_most_one_time_in_forty():
    # JCGM 106:2012 / ILAC-G8:09/2019: P(conform) at the acceptance limit, w = 2u, is 0.9772. The rule accepts when the
    # bad end of the interval meets the limit; with a normal error of standard deviation u that end lies 2u away.
    u, limit = 0.01, RULE.residue_limit
    residue = limit - 2 * u
    accepted = stand(share(1 - residue - 2 * u, 1 - residue + 2 * u), (), RULE)[0] == Standing.BRIGHT
    assert accepted
    assert NormalDist(residue, u).cdf(limit) == pytest.approx(0.9772, abs=5e-5)


def spot_of(states):
    (spot,) = find_spots(surface_of(states), Settings())
    return spot


def worst_of(states):
    surface, spot = surface_of(states), spot_of(states)
    return worst_unit_area(surface, spot, bright_share(surface, spot.mask), flat(1.0), 76)


def test_one_bad_unit_area_decides_though_the_mean_is_good():
    # Nine tiles of 76 mm at 1 mm a pixel, one of them 40 % oxide: mean 4.4 % (reference row 1.29).
    states = plate(300, 300)
    states[20:248, 20:248] = State.BRIGHT
    states[20:96, 20:50] = State.OXIDE
    whole = np.mean(states[spot_of(states).mask] == State.OXIDE)
    assert whole < 0.05
    assert worst_of(states).share.most_residue == pytest.approx(30 / 76, abs=0.03)


def test_a_spot_smaller_than_the_unit_area_is_judged_whole():
    states = plate(200, 200)
    states[50:120, 50:120] = State.BRIGHT
    assert worst_of(states).outline is None


def test_the_worst_tile_lies_over_the_residue():
    states = plate(300, 400)
    states[20:280, 20:380] = State.BRIGHT
    states[200:240, 300:340] = State.OXIDE
    worst = worst_of(states)
    low, high = worst.outline.min(axis=0), worst.outline.max(axis=0)
    assert (low <= [300, 200]).all()
    assert (high >= [339, 239]).all()
    # 5 % of a 76 mm tile is 288.8 mm2 (SSPC-SP 15 section 2.3 with SSPC-SP 17): 1600 mm2 here is 27.7 %.
    assert worst.share.most_residue == pytest.approx(1600 / 76**2, abs=0.01)
