"""A shop's own fit where chances are told: what it changes, and what it must never change."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.special import expit, logit

from prepcheck.inspection import inspect, settings_sha256
from prepcheck.light_set import inspect_set
from prepcheck.record import record_of
from prepcheck.score import bright_share
from prepcheck.settings import Settings
from prepcheck.surface import ModelOrigin, ShopFit, map_surface
from prepcheck.surface.mapping import told_by
from prepcheck.surface.shop_fit import MOST_SHIFT
from prepcheck.terms import Standing, State
from tests import painted

OWN = ModelOrigin("palette", "1" * 64, 0.5756, 2.0, 0.005)
SETTINGS = Settings()
SLOPES, SHIFTS = st.floats(0.2, 1.0), st.floats(-3.0, 3.0)
WEIGHTS = arrays(np.float64, (7, 12), elements=st.floats(0.0, 1.0))


def chances(weights):
    """Turn any weights into chances that sum to 1."""
    powers = np.exp(8 * weights)
    return np.asarray(powers / powers.sum(axis=0), np.float32)


def told_states(origin, planes):
    return told_by(origin, planes, np.zeros(planes.shape[1:], bool))[0]


@given(WEIGHTS)
def test_slope_one_and_shift_nought_change_nothing(weights):
    before = chances(weights)
    assert np.allclose(ShopFit(1.0, 0.0).applied(before), before, atol=2e-6)


@given(WEIGHTS, SLOPES, SHIFTS)
def test_chances_still_sum_to_one(weights, slope, shift):
    assert np.allclose(ShopFit(slope, shift).applied(chances(weights)).sum(axis=0), 1, atol=1e-4)


@given(st.floats(0.001, 0.999), SLOPES, SHIFTS)
def test_the_log_odds_of_bright_metal_follow_a_line(p, slope, shift):
    before = np.array([[0], [p], [1 - p], [0], [0], [0], [0]], np.float32)
    after = ShopFit(slope, shift).applied(before)
    assert after[State.BRIGHT, 0] == pytest.approx(
        expit(slope * logit(p) + shift), abs=1e-4
    )  # a second way: scipy's own


def test_everything_else_shares_the_rest_as_before():
    before = np.array([0.1, 0.5, 0.2, 0.1, 0.05, 0.03, 0.02], np.float32).reshape(7, 1)
    after = ShopFit(0.5, -1.0).applied(before)
    others = [0, 2, 3, 4, 5, 6]
    assert np.allclose(after[others] / after[others].sum(), before[others] / before[others].sum(), atol=1e-6)


@given(WEIGHTS, SLOPES)
def test_a_slope_alone_tells_the_same_places_bright(weights, slope):
    planes = chances(weights)
    planes = planes[:, np.abs(planes[State.BRIGHT] - OWN.sure) > 1e-4]  # rounding decides right at the limit
    before, after = (told_states(origin, planes) for origin in (OWN, OWN.fitted(ShopFit(slope, 0.0))))
    assert np.array_equal(before == State.BRIGHT, after == State.BRIGHT)


@given(WEIGHTS, SLOPES, st.floats(-3.0, 0.0))
def test_no_place_becomes_bright_by_a_fit_towards_residue(weights, slope, shift):
    planes = chances(weights)
    planes = planes[:, np.abs(planes[State.BRIGHT] - OWN.sure) > 1e-4]
    before, after = (told_states(origin, planes) for origin in (OWN, OWN.fitted(ShopFit(slope, shift))))
    assert not ((after == State.BRIGHT) & (before != State.BRIGHT)).any()


@given(SLOPES, SHIFTS, st.floats(0.5, 0.99))
def test_no_place_adds_less_to_an_interval_with_any_fit(slope, shift, sure):
    photo = painted.photo(painted.plate((State.OXIDE, 320, 240, 40), size=(96, 128), spot=(64, 48, 30)))
    model = painted.model(sure=sure)
    without = map_surface(photo, model, SETTINGS)
    fitted = map_surface(photo, replace(model, origin=model.origin.fitted(ShopFit(slope, shift))), SETTINGS)
    assert (fitted.doubt >= without.doubt - 1e-7).all()
    assert (fitted.model.error_scale, fitted.model.error_floor) == (model.origin.error_scale, model.origin.error_floor)


@pytest.mark.parametrize(("slope", "shift"), [(1.01, 0), (0.1, 0), (1, MOST_SHIFT + 0.01), (np.nan, 0), (1, np.inf)])
def test_a_fit_out_of_bounds_is_none(slope, shift):
    with pytest.raises(ValueError, match="is no fit"):
        ShopFit(slope, shift)


def fitted(slope, shift, sure=0.8):
    model = painted.model(sure=sure)
    return replace(model, origin=model.origin.fitted(ShopFit(slope, shift, "f" * 64, "2026-11-28")))


PLATE = painted.plate((State.OXIDE, 160, 120, 20), size=(240, 320), spot=(160, 120, 75))


def test_the_map_keeps_the_models_own_chances_beside_the_fitted_ones():
    photo = painted.photo(PLATE)
    own, with_fit = (
        map_surface(photo, painted.model(sure=0.8), SETTINGS),
        map_surface(photo, fitted(0.5, -0.5), SETTINGS),
    )
    assert np.array_equal(own.chances, with_fit.chances)
    middle = with_fit.bright[75, 110], own.bright[75, 110]
    assert middle[0] == pytest.approx(expit(0.5 * logit(middle[1]) - 0.5), abs=1e-4)


def test_a_set_is_read_with_the_fit_too():
    photos = [painted.photo(PLATE, seed=seed) for seed in (1, 2)]
    photos = [replace(one, sha256=str(at) * 64) for at, one in enumerate(photos)]
    own, with_fit = (
        inspect_set(photos, model, SETTINGS).surface for model in (painted.model(sure=0.8), fitted(0.5, -0.5))
    )
    assert with_fit.model.shop_fit == ShopFit(0.5, -0.5, "f" * 64, "2026-11-28")
    bright = own.states == State.BRIGHT
    assert np.allclose(with_fit.bright[bright], expit(0.5 * logit(own.bright[bright]) - 0.5), atol=1e-3)


def test_a_share_never_gets_a_narrower_interval_on_a_spot_that_is_told_the_same():
    photo = painted.photo(PLATE)
    own, with_fit = (
        map_surface(photo, painted.model(sure=0.8), SETTINGS),
        map_surface(photo, fitted(1.0, 1.0), SETTINGS),
    )
    everywhere = own.ground > 0.5
    shares = [bright_share(one, everywhere & (own.states == with_fit.states)) for one in (own, with_fit)]
    assert shares[1].high - shares[1].low >= shares[0].high - shares[0].low - 1e-9


@pytest.mark.parametrize("shift", [0.0, -1.0])
@pytest.mark.parametrize("slope", [1.0, 0.4])
@pytest.mark.parametrize("patches", [(), ((State.OXIDE, 160, 120, 6),)])
def test_no_plate_becomes_bright_by_a_fit_towards_residue(slope, shift, patches):
    photo = painted.photo(painted.plate(*patches, size=(240, 320), spot=(160, 120, 75)))
    model = painted.model(sure=0.999)
    own = inspect(photo, model, SETTINGS)
    with_fit = inspect(photo, replace(model, origin=model.origin.fitted(ShopFit(slope, shift))), SETTINGS)
    assert own.standing is Standing.BRIGHT or with_fit.standing is not Standing.BRIGHT


def test_the_record_names_the_fit_and_its_day():
    origin = record_of(inspect(painted.photo(PLATE), fitted(0.9, 0.1), SETTINGS)).origin
    assert (origin.shop_fit, origin.shop_fit_made_on) == ("f" * 64, "2026-11-28")


def test_without_a_fit_the_record_names_none():
    origin = record_of(inspect(painted.photo(PLATE), painted.model(), SETTINGS)).origin
    assert (origin.shop_fit, origin.shop_fit_made_on) == (None, "")


def test_answers_with_and_without_a_fit_and_of_two_files_have_other_hashes():
    model = painted.model(sure=0.8)
    same_numbers = replace(model, origin=model.origin.fitted(ShopFit(1.0, 0.0, "e" * 64)))
    unused = replace(model, unused_fit="its file is not the one that was logged")
    models = (model, fitted(1.0, 0.0), same_numbers, unused)
    assert len({settings_sha256(SETTINGS, one) for one in models}) == len(models)


def test_a_fit_that_is_not_used_is_told_by_a_flag_that_does_not_block():
    model = replace(painted.model(), unused_fit="its signature is not right")
    flags = {flag.code: flag for flag in inspect(painted.photo(PLATE), model, SETTINGS).flags}
    assert (flags["shop_fit_not_used"].measured, flags["shop_fit_not_used"].blocking) == (
        "its signature is not right",
        False,
    )
