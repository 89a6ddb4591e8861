"""The random forest among the baselines."""

import sys

import numpy as np
import pytest

from prepcheck.errors import WrongUse
from prepcheck.evaluate.forest import fit_forest
from prepcheck.terms import State


def picture(seed):
    """Half rough and dark (bright metal), half smooth and light (oxide)."""
    rng = np.random.default_rng(seed)
    grey = np.where(np.arange(80) < 40, 110 + 30 * rng.normal(size=(60, 80)), 150 + 2 * rng.normal(size=(60, 80)))
    states = np.where(np.arange(80) < 40, State.BRIGHT, State.OXIDE).astype(np.uint8) * np.ones((60, 1), np.uint8)
    return np.repeat(grey.clip(0, 255).astype(np.uint8)[..., None], 3, 2), states, np.full((60, 80), 255, np.uint8)


def test_a_forest_tells_on_a_new_picture_what_it_was_fitted_on():
    pytest.importorskip("sklearn")
    rgb, states, ground = picture(9)
    told = fit_forest([picture(0), picture(1)])(rgb, ground > 0)
    assert np.mean(told == states) > 0.95


def test_the_same_pictures_and_seed_give_the_same_forest():
    pytest.importorskip("sklearn")
    rgb, _, ground = picture(9)
    one, other = (fit_forest([picture(0)], seed=4)(rgb, ground > 0) for _ in range(2))
    assert np.array_equal(one, other)


def test_pictures_of_one_kind_only_are_refused():
    pytest.importorskip("sklearn")
    rgb, states, ground = picture(0)
    with pytest.raises(WrongUse, match="no bright metal beside oxide"):
        fit_forest([(rgb, np.full_like(states, State.OXIDE), ground)])


def test_without_scikit_learn_one_line_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "sklearn.ensemble", None)
    with pytest.raises(WrongUse, match=r"needs scikit-learn.*Install prepcheck\[train\]"):
        fit_forest([picture(0)])
