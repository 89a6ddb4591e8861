"""The strongest of the simple rules: multiscale features of scikit-image and a random forest, fitted on labelled pictures."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import WrongUse
from prepcheck.evaluate.baselines import LONG_SIDE, Mask, Raster, Rule
from prepcheck.terms import State

Labelled = tuple[Raster, Raster, Raster]
"""A picture (h, w, 3), its states (h, w) and its ground area (h, w), all uint8."""

PIXELS = 400
"""Drawn from each kind (bright, oxide) of each picture."""

TREES, DEPTH = 60, 16


def fit_forest(pictures: Iterable[Labelled], *, seed: int = 0) -> Rule:
    """Fit a random forest (L. Breiman, Machine Learning 45, 2001) and return it as a rule.

    Parameters
    ----------
    pictures : iterable of Labelled
        With exact truth; reduced to the size at which the rules work.
    seed : int
        The same pictures and seed give the same forest.

    Raises
    ------
    WrongUse
        scikit-learn is not installed, or the pictures do not show both kinds.
    """
    try:
        from sklearn.ensemble import RandomForestClassifier
    except ImportError as error:
        what = "the random forest among the baselines needs scikit-learn, which is not installed"
        raise WrongUse(what, "Install prepcheck[train], or leave --baselines out") from error
    rng = np.random.default_rng(seed)
    drawn = [_draw(rng, *_reduced(picture)) for picture in pictures]
    features, kinds = (np.concatenate(parts) for parts in zip(*drawn, strict=True))
    if len(np.unique(kinds)) < 2:
        raise WrongUse("the pictures show no bright metal beside oxide", "Give more pictures to the forest")
    forest = RandomForestClassifier(TREES, max_depth=DEPTH, min_samples_leaf=5, random_state=seed, n_jobs=2)
    forest.fit(features, kinds)

    def rule(rgb: Raster, ground: Mask) -> Raster:
        states = np.zeros(ground.shape, np.uint8)
        states[ground] = forest.predict(_features(rgb)[ground])
        return states

    return rule


def _features(rgb: Raster) -> NDArray[np.float32]:
    from skimage.feature import multiscale_basic_features

    made = multiscale_basic_features(rgb, channel_axis=-1, sigma_min=1, sigma_max=16, workers=2)
    return np.asarray(made, np.float32)


def _reduced(picture: Labelled) -> Labelled:
    rgb, states, ground = picture
    scale = min(1.0, LONG_SIDE / max(states.shape))
    size = (round(states.shape[1] * scale), round(states.shape[0] * scale))
    planes = (cv2.resize(plane, size, interpolation=cv2.INTER_NEAREST_EXACT) for plane in (states, ground))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8), *(np.asarray(plane, np.uint8) for plane in planes)  # type: ignore[return-value]


def _draw(
    rng: np.random.Generator, rgb: Raster, states: Raster, ground: Raster
) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
    """Draw as many pixels of bright metal as of oxide from the ground area."""
    features = _features(rgb)
    chosen = []
    for kind in (State.BRIGHT, State.OXIDE):
        there = np.flatnonzero((states == kind) & (ground > 0))
        chosen.append(rng.choice(there, min(PIXELS, len(there)), replace=False) if len(there) else there)
    at = np.concatenate(chosen)
    return features.reshape(-1, features.shape[-1])[at], states.ravel()[at]
