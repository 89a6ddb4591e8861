"""Scenes framed as a welder frames them: how often, what fills the picture, and that all other scenes stay as they were."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from prepcheck.synth import grinding, make_surface, oxide, recipe, sample_recipe
from prepcheck.synth.layers import blank
from prepcheck.synth.oxide import lay_oxide
from prepcheck.synth.spots import ground_areas
from prepcheck.synth.strokes import untouched
from prepcheck.terms import State

SHAPE = (96, 128)
SEEDS = range(60)
PLAIN = {"kind": "spots", "spots": 1, "metal": "aluminium", "skin": "paint", "residue": "much"}


def drawn(seeds):
    return [sample_recipe(np.random.default_rng(seed)) for seed in seeds]


@pytest.fixture(scope="module")
def recipes():
    return drawn(range(800))


def test_six_of_ten_scenes_with_a_spot_are_framed(recipes):
    spotted = [one for one in recipes if one.kind in ("spots", "worked")]
    assert np.mean([one.framed for one in spotted]) == pytest.approx(0.6, abs=0.06)


def test_a_scene_without_a_spot_is_never_framed(recipes):
    assert not any(one.framed for one in recipes if one.kind in ("unworked", "clutter"))


def test_a_framed_scene_shows_one_or_two_spots(recipes):
    assert {(one.kind, one.spots) for one in recipes if one.framed} == {("spots", 1), ("spots", 2)}


def filled(seed, framed):
    """Share of the picture that one spot fills."""
    areas = ground_areas(np.random.default_rng(seed), SHAPE, 0.3, 1, framed)
    return float(np.mean(sum(areas, np.zeros(SHAPE))))


def test_a_framed_spot_fills_more_of_the_picture():
    framed, others = ([filled(seed, x) for seed in SEEDS] for x in (True, False))
    assert np.mean(framed) > 1.1 * np.mean(others)


def test_few_framed_spots_are_small():
    framed, others = (np.percentile([filled(seed, x) for seed in SEEDS], 20) for x in (True, False))
    assert framed > 1.4 * others


def depth_of_oxide(seed, large):
    """Mean distance in pixels from a place of oxide to the nearest that is none; the view is 36 cm wide."""
    shape = (192, 256)
    layers = blank(shape, 1.4)
    lay_oxide(np.random.default_rng(seed), layers, untouched(shape), np.ones(shape, bool), 0.3, large=large)
    left = (layers.state == State.OXIDE).astype(np.uint8)
    return float(cv2.distanceTransform(left, cv2.DIST_L2, 3)[left > 0].mean())


def test_patches_of_a_framed_scene_are_larger():
    framed, others = ([np.log(depth_of_oxide(seed, large)) for seed in SEEDS] for large in (True, False))
    assert np.mean(framed) - np.mean(others) > np.log(1.15)


def test_framed_recipes_are_drawn_that_way(monkeypatch):
    asked = []
    monkeypatch.setattr(grinding, "ground_areas", lambda *a: asked.append(a[-1]) or ground_areas(*a))
    monkeypatch.setattr(oxide, "lay_oxide", lambda *a, large: asked.append(large) or lay_oxide(*a, large=large))
    for framed in (True, False):
        asked.clear()
        make_surface(3, SHAPE, replace(drawn([3])[0], **PLAIN, framed=framed))
        assert asked == [framed, framed]


def test_framing_some_scenes_leaves_the_others_as_they_were(monkeypatch):
    seeds = [seed for seed, one in enumerate(drawn(range(12))) if not one.framed]
    now = [make_surface(seed, SHAPE) for seed in seeds]
    monkeypatch.setattr(recipe, "_framed", lambda rng, one: one)
    before = [make_surface(seed, SHAPE) for seed in seeds]
    for one, other in zip(now, before, strict=True):
        for plane in ("height", "base", "metal", "state", "ground"):
            assert np.array_equal(getattr(one, plane), getattr(other, plane)), plane
