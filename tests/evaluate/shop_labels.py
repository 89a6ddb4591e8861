"""Invented shops: labelled places whose true odds of bright metal are known, and what a tool says of them."""

from __future__ import annotations

import hashlib

import numpy as np

from prepcheck.evaluate.fit_shop import Labelled
from prepcheck.surface import ModelOrigin
from prepcheck.terms import State

OWN = ModelOrigin("palette", "1" * 64, 0.5756, 2.0, 0.005)


def chances_of(bright, kind=State.OXIDE):
    """Return chances (7, n) with the given ones of bright metal, all else of one kind."""
    made = np.zeros((7, len(bright)), np.float32)
    made[State.BRIGHT], made[kind] = bright, 1 - bright
    return made


def photo(number, odds, labels, group=None):
    """Return the labelled places of one photo, `odds` being the log odds of bright metal that the tool says."""
    name = f"photo-{number}.jpg"
    said = hashlib.sha256(np.asarray(labels, "<i8").tobytes()).hexdigest()
    sha256 = hashlib.sha256(name.encode()).hexdigest()
    bright = 1 / (1 + np.exp(-np.asarray(odds, float)))
    labels = np.asarray(labels, np.uint8)
    return Labelled(name, sha256, "counted", said, group or str(number), chances_of(bright), labels)


def shop(photos=30, points=40, slope=1.0, shift=0.0, wobble=0.3, seed=1, start=0):
    """Return photos of a shop where the true log odds are ``slope * said + shift``, give or take a `wobble` a photo."""
    rng = np.random.default_rng(seed)
    made = []
    for number in range(photos):
        odds = rng.normal(0, 3, points)
        truly = slope * odds + shift + rng.normal(0, wobble)
        bright = rng.random(points) < 1 / (1 + np.exp(-truly))
        made.append(photo(start + number, odds, np.where(bright, State.BRIGHT, State.OXIDE)))
    return tuple(made)


def coin_flips(photos=30, points=40, seed=1):
    """Return photos whose labels have nothing to do with what the tool says."""
    return shop(photos, points, slope=0.0, wobble=0.0, seed=seed)
