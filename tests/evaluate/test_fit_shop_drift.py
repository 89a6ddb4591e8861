"""Whether recent labels and disagreements speak against a fit."""

import numpy as np
import pytest
from scipy import stats

from prepcheck.evaluate.fit_shop import prove
from prepcheck.evaluate.fit_shop_drift import Disagreed, drift, more_often, shared_out, turned
from prepcheck.settings import ShopFitSettings
from prepcheck.surface import ShopFit
from tests.evaluate.shop_labels import OWN, shop

NOBODY = Disagreed(0, 0, 0, 0)
FIT = ShopFit(0.5, -0.5)


LEANS = prove(shop(30, slope=0.5, shift=-0.5, seed=2), OWN, ShopFitSettings()).leans


def checks(photos, told=NOBODY, fit=FIT, leans=LEANS):
    return {one.name: one for one in drift(photos, fit, leans, told)}


def test_nothing_recent_can_speak_against_a_fit():
    assert all(one.chance is None and not one.speaks_against(0.01) for one in checks(()).values())


def test_the_shop_that_was_fitted_does_not_speak_against_its_fit():
    found = checks(shop(30, slope=0.5, shift=-0.5))
    assert not any(one.speaks_against(0.01) for one in found.values())


@pytest.mark.parametrize(("shift", "word"), [(1.0, "more"), (-2.0, "less")])
def test_new_metal_under_new_lamps_speaks_against_it(shift, word):
    lean = checks(shop(30, slope=0.5, shift=shift))["lean"]
    assert lean.speaks_against(0.01)
    assert f"{word} bright metal" in lean.seen


def test_a_fit_that_makes_it_worse_is_told():
    worse = checks(shop(30, slope=1.0, wobble=0.0), fit=ShopFit(0.2, -1.5))["worse"]
    assert worse.speaks_against(0.01)


def test_a_fit_that_helps_is_not_called_worse():
    assert checks(shop(30, slope=0.5, shift=-0.5))["worse"].chance > 0.5


def test_six_photos_are_too_few_to_call_it_worse():
    """1 of 2^6 turns of signs is 1.6 %."""
    worse = checks(shop(6, 200, slope=1.0, wobble=0.0), fit=ShopFit(0.2, -2.0))["worse"]
    assert worse.chance == pytest.approx(1 / 64)


def test_a_fit_that_leans_as_it_did_when_left_out_does_not_drift():
    """The prior holds a fit back, so that it leans a little from the start."""
    leans = [0.10, 0.12, 0.09, 0.11, 0.13, 0.10, 0.12, 0.08]
    assert shared_out(np.array([0.11, 0.10, 0.12, 0.09]), np.array(leans)) > 0.5
    assert shared_out(np.array([-0.11, -0.10, -0.12, -0.09]), np.array(leans)) < 0.01


def test_all_turns_of_signs_agree_with_scipy():
    values = np.array([0.3, -0.1, 0.4, 0.25, 0.05, -0.2, 0.6, 0.1])
    scipys = stats.permutation_test(
        (values,), np.mean, permutation_type="samples", n_resamples=np.inf, alternative="greater"
    )
    assert turned(values) == pytest.approx(scipys.pvalue)


def test_some_turns_of_signs_come_near_all_of_them():
    values = np.random.default_rng(3).normal(0.25, 1, 20)
    scipys = stats.permutation_test(
        (values,), np.mean, permutation_type="samples", n_resamples=99_999, alternative="greater", rng=1
    )
    assert turned(values) == pytest.approx(scipys.pvalue, abs=0.02)


def test_sharing_out_anew_agrees_with_scipy():
    rng = np.random.default_rng(4)
    some, others = rng.normal(0.3, 0.5, 6), rng.normal(0, 0.5, 9)
    scipys = stats.permutation_test((some, others), lambda a, b: a.mean() - b.mean(), n_resamples=np.inf)
    assert shared_out(some, others) == pytest.approx(scipys.pvalue, abs=0.015)


def test_no_loss_at_all_is_no_evidence():
    assert turned(np.zeros(9)) == 1.0


def test_fishers_tasting_of_tea():
    """Four of four cups is 1 of 70, three or more 17 of 70 (R. A. Fisher, The Design of Experiments, 1935, from memory)."""
    assert more_often(Disagreed(4, 4, 0, 4)) == pytest.approx(1 / 70)
    assert more_often(Disagreed(3, 4, 1, 4)) == pytest.approx(17 / 70)


@pytest.mark.parametrize("told", [(5, 40, 2, 160), (0, 10, 3, 50), (10, 10, 10, 10), (1, 1, 0, 300)])
def test_fishers_exact_test_agrees_with_scipy(told):
    hits, of, hits_before, of_before = told
    table = [[hits, of - hits], [hits_before, of_before - hits_before]]
    assert more_often(Disagreed(*told)) == pytest.approx(stats.fisher_exact(table, alternative="greater").pvalue)


def test_more_disagreements_than_before_are_told():
    found = checks((), Disagreed(12, 40, 2, 160))["disagreements"]
    assert found.speaks_against(0.01)
    assert found.seen == "people disagreed with 12 of 40 answers since, 2 of 160 before"
