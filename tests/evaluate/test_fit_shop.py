"""Fitting a shop's labels, and the proof that leaves each photo out."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as runs
from hypothesis import strategies as st

from prepcheck.evaluate.bootstrap import Figure
from prepcheck.evaluate.fit_shop import HALF_WIDTH, Proof, Row, fit, least_chance, losses, objections, prove
from prepcheck.settings import ShopFitSettings
from prepcheck.surface import ShopFit
from prepcheck.terms import State
from tests.evaluate.shop_labels import OWN, chances_of, coin_flips, photo, shop

SETTINGS = ShopFitSettings()
LOOSE = ShopFitSettings(slope_spread=2.0, shift_spread=2.0, independent_points=1000.0)


def refused(photos, settings=SETTINGS):
    return objections(prove(photos, OWN, settings), settings)


def test_without_photos_nothing_is_fitted():
    assert fit((), SETTINGS) == ShopFit(1.0, 0.0)


def test_a_shop_like_the_model_moves_next_to_nothing():
    made = fit(shop(60), SETTINGS)
    assert made.slope > 0.9
    assert abs(made.shift) < 0.15


def test_many_labels_find_the_true_line():
    made = fit(shop(200, 60, slope=0.5, shift=-0.7, wobble=0.0), LOOSE)
    assert (made.slope, made.shift) == pytest.approx((0.5, -0.7), abs=0.05)


def test_the_fit_is_the_best_of_a_fine_grid():
    """A second way of computing: every slope and shift tried, by the loss as it is written in the module's head."""
    photos = shop(12, 20, slope=0.6, shift=0.5)
    made = fit(photos, SETTINGS)

    def loss(slope, shift):
        told = sum(
            losses(ShopFit(slope, shift).applied(one.chances), one.is_bright).sum() * min(1, 10 / len(one.labels))
            for one in photos
        )
        return told + ((slope - 1) / SETTINGS.slope_spread) ** 2 / 2 + (shift / SETTINGS.shift_spread) ** 2 / 2

    best = loss(made.slope, made.shift)
    grid = [loss(a, b) for a in np.linspace(0.2, 1, 41) for b in np.linspace(-1.5, 1.5, 31)]
    assert best <= min(grid) + 1e-4


def test_the_prior_pulls_a_few_labels_to_no_change():
    few, many = (fit(shop(n, slope=0.4, shift=-1.0, wobble=0.0), SETTINGS) for n in (2, 100))
    assert abs(few.shift) < abs(many.shift)
    assert few.slope > many.slope


def test_a_photo_weighs_no_more_for_its_many_points():
    one = photo(1, [2.0] * 10, [State.OXIDE] * 10)
    more = photo(1, [2.0] * 1000, [State.OXIDE] * 1000)
    assert fit([one], SETTINGS) == fit([more], SETTINGS)


def test_a_photo_twice_in_one_group_weighs_once():
    one = photo(1, [2.0] * 10, [State.OXIDE] * 10)
    assert fit([one, replace(one, name="copy.jpg")], SETTINGS) == fit([one], SETTINGS)


def test_no_fit_makes_the_tool_surer_than_it_was():
    assert fit(shop(60, slope=3.0, wobble=0.0), SETTINGS).slope == 1.0


def test_the_same_labels_give_the_same_fit():
    assert fit(shop(slope=0.5), SETTINGS) == fit(shop(slope=0.5), SETTINGS)


def test_a_tool_too_sure_for_a_shop_is_fitted_and_taken():
    photos = shop(40, slope=0.4, shift=-0.3)
    proof = prove(photos, OWN, SETTINGS)
    assert objections(proof, SETTINGS) == ()
    assert proof.gain.high < 0
    width = proof.row(HALF_WIDTH)
    assert width.after.value > width.before.value


def test_the_half_width_is_that_of_the_interval_on_bright_metal_alone():
    photos = shop(12, 40, wobble=0.0)
    doubts = np.concatenate([one.chances[State.BRIGHT][one.is_bright] for one in photos])
    by_hand = OWN.error_scale * (np.minimum(doubts, 1 - doubts).mean() + OWN.error_floor)
    assert prove(photos, OWN, SETTINGS).row(HALF_WIDTH).before.value == pytest.approx(by_hand, rel=1e-5)


def test_a_shop_like_the_model_is_refused():
    assert any("is not shown" in reason for reason in refused(shop(40, wobble=0.0)))


def test_no_photos_are_refused_with_all_reasons():
    proof = prove((), OWN, SETTINGS)
    assert (proof.photos, proof.rows, proof.gain) == (0, (), None)
    assert len(objections(proof, SETTINGS)) == 3


@pytest.mark.parametrize(("photos", "points"), [(9, 40), (30, 2)])
def test_few_photos_and_few_points_are_refused(photos, points):
    assert any("at least" in reason for reason in refused(shop(photos, points, slope=0.3)))


def test_ten_copies_of_one_photo_are_one_photo():
    photos = tuple(replace(one, group="same") for one in shop(30, slope=0.3))
    assert refused(photos)[0] == "1 photos that do not show the same, at least 10 are needed"


@runs(max_examples=15)
@given(st.integers(0, 10_000))
def test_labels_that_have_nothing_to_do_with_the_photos_are_refused(seed):
    proof = prove(coin_flips(12, 30, seed), OWN, SETTINGS)
    low = proof.row("balanced accuracy of points").after.low
    assert low > 0.5 or any("by chance" in reason for reason in objections(proof, SETTINGS))


def test_coin_flips_are_refused_nearly_always():
    """The low end of a 95 % interval lies above one half in 2.5 % of such shops; among 20, more than 3 would be a fault."""
    taken = sum(not refused(coin_flips(20, 30, seed)) for seed in range(20))
    assert taken <= 3


@pytest.mark.parametrize(("high", "taken"), [(-0.001, True), (0.0, False), (0.05, False), (np.nan, False)])
def test_a_better_log_loss_counts_only_where_its_whole_interval_is_better(high, taken):
    good = Figure(0.8, 0.7, 0.9)
    rows = tuple(Row(name, good, good, good) for name in ("wrongly bright", "balanced accuracy of points"))
    proof = Proof(20, 20, 500, 500, rows, Figure(-0.1, -0.3, high))
    assert (objections(proof, SETTINGS) == ()) is taken


def shop_where_residue_looks_bright():
    """Return a shop whose bright metal the tool hardly knows, and whose little residue it would lose by knowing it better."""
    photos = []
    for number in range(40):
        odds = np.r_[np.full(30, -0.3), np.full(3, -0.3), np.full(10, -4.0)]
        labels = np.r_[np.full(30, State.BRIGHT), np.full(3, State.OXIDE), np.full(10, State.OXIDE)]
        photos.append(photo(number, odds, labels))
    return tuple(photos)


def test_a_fit_that_would_call_more_residue_bright_is_refused_although_its_log_loss_is_better():
    proof = prove(shop_where_residue_looks_bright(), replace(OWN, sure=0.5), SETTINGS)
    assert proof.gain.high < 0
    assert any("wrongly bright rises" in reason for reason in objections(proof, SETTINGS))


@runs(max_examples=25)
@given(st.integers(0, 10_000), st.floats(0.2, 1.5), st.floats(-1.5, 1.5))
def test_whatever_is_taken_does_not_raise_wrongly_bright_and_betters_the_log_loss(seed, slope, shift):
    proof = prove(shop(12, 30, slope, shift, seed=seed), OWN, SETTINGS)
    if not objections(proof, SETTINGS):
        dirty = proof.row("wrongly bright")
        assert max(dirty.after.value, dirty.as_told.value) <= dirty.before.value
        assert proof.gain.high < 0


def test_a_photo_is_judged_by_a_fit_that_has_not_seen_it():
    """With two groups, each is judged by the fit of the other alone."""
    first, second = shop(2, 200, slope=0.3, shift=-1.0, wobble=0.0)
    proof = prove([first, second], OWN, SETTINGS)
    by_hand = [
        losses(fit([other], SETTINGS).applied(one.chances), one.is_bright).mean()
        for one, other in ((first, second), (second, first))
    ]
    assert proof.row("log loss").after.value == pytest.approx(np.mean(by_hand))


def test_as_many_places_are_told_after_as_before():
    proof = prove(shop(20, slope=0.4), OWN, SETTINGS)
    coverage = proof.row("coverage")
    assert coverage.after.value == pytest.approx(coverage.before.value, abs=0.002)


def test_the_log_loss_is_that_of_the_published_formula():
    """-ln p of what is there; ln 2 for even chances (I. J. Good, Rational Decisions, 1952, from memory)."""
    assert losses(chances_of(np.array([0.5, 0.9])), np.array([True, False])) == pytest.approx([np.log(2), -np.log(0.1)])


def test_the_least_chance_tells_the_surest_places():
    assert least_chance([chances_of(np.array([0.9, 0.6])), chances_of(np.array([0.2]))], 2) == pytest.approx(0.8)


@runs(max_examples=30)
@given(
    st.integers(0, 10_000), st.sampled_from([(1,), (2,), (1, 2), (1, 2, 3, 4, 5)]), st.sampled_from([0.0, 3.0, 40.0])
)
def test_whatever_is_labelled_gives_a_fit_within_bounds_and_reasons_in_words(seed, labels, spread):
    rng = np.random.default_rng(seed)
    photos = [photo(at, rng.normal(0, spread, 12), rng.choice(labels, 12)) for at in range(int(rng.integers(1, 14)))]
    proof = prove(photos, OWN, SETTINGS)
    assert 0.2 <= fit(photos, SETTINGS).slope <= 1.0
    assert not any("nan" in reason for reason in objections(proof, SETTINGS))


def test_where_no_residue_is_told_a_fit_is_refused():
    photos = [photo(at, [-0.1, 4, 4, 4, 4] * 8, [State.OXIDE, 1, 1, 1, 1] * 8) for at in range(12)]
    assert any("no residue is told" in reason for reason in refused(photos))


def test_a_proof_without_rows_objects_only_to_numbers():
    assert len(objections(Proof(1, 1, 60, 60), SETTINGS)) == 1
