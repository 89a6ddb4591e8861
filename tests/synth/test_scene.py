"""A scene is its seed: exact truth, no surprise from one run to the next."""

import numpy as np
import pytest

from prepcheck.synth import Recipe, make_picture, make_surface
from prepcheck.synth.layers import BEAD
from prepcheck.synth.scene import bright_share, sample_recipe
from prepcheck.terms import State

SHAPE = (192, 256)


def recipe(**changes):
    plain = {
        "kind": "spots", "mm_per_px": 0.4, "tools": ("flap",), "spots": 1, "skin": False, "steel": False,
        "bead": False, "holes": False, "edges": False,
    }  # fmt: skip
    return Recipe(**{**plain, **changes})


def test_same_seed_gives_same_layers():
    one, two = make_surface(5, SHAPE), make_surface(5, SHAPE)
    assert np.array_equal(one.state, two.state)
    assert np.array_equal(one.height, two.height)


def test_other_seed_gives_other_layers():
    assert not np.array_equal(make_surface(5, SHAPE).state, make_surface(6, SHAPE).state)


@pytest.mark.parametrize("tool", ["burr", "flap", "fibre", "brush", "sanding", "orbital", "mill"])
def test_every_tool_bares_metal(tool):
    shares = [bright_share(make_surface(seed, SHAPE, recipe(tools=(tool,)))) for seed in range(4)]
    assert max(shares) > 0.3


@pytest.mark.parametrize("seed", range(8))
def test_planes_are_physical(seed):
    layers = make_surface(seed, SHAPE)
    for plane in (layers.metal, layers.cavity, layers.base):
        assert np.isfinite(plane).all()
        assert plane.min() >= -1e-5
        assert plane.max() <= 1 + 1e-5
    assert layers.alpha_u.min() > 0
    assert set(np.unique(layers.state)) <= {0, 1, 2, 3, 4, 5, BEAD}
    assert all(np.isfinite(s).all() for s in layers.slopes())


def test_bright_and_oxide_lie_inside_the_ground_only():
    for seed in range(6):
        layers = make_surface(seed, SHAPE, recipe())
        outside = layers.ground == 0
        assert not np.isin(layers.state[outside], (State.BRIGHT, State.OXIDE)).any()


@pytest.mark.parametrize("kind", ["unworked", "clutter"])
def test_scenes_without_a_spot_have_no_ground(kind):
    layers = make_surface(3, SHAPE, recipe(kind=kind))
    assert not layers.ground.any()
    assert bright_share(layers) is None


def test_recipes_vary():
    kinds = {sample_recipe(np.random.default_rng(seed)).kind for seed in range(200)}
    assert kinds == {"spots", "unworked", "clutter"}


def test_picture_follows_the_contract():
    picture = make_picture(11, SHAPE)
    assert picture.image.shape == (*SHAPE, 3)
    assert picture.image.dtype == picture.states.dtype == picture.ground.dtype == np.uint8
    assert set(np.unique(picture.states)) <= {0, 1, 2, 3, 4, 5, 255}
    assert set(np.unique(picture.ground)) <= {0, 255}
    assert picture.meta["seed"] == 11
    assert np.array_equal(picture.image, make_picture(11, SHAPE).image)
