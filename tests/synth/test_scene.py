"""A scene is its seed: exact truth, no surprise from one run to the next."""

import cv2
import numpy as np
import pytest

from prepcheck.synth import Recipe, make_picture, make_surface, oxide
from prepcheck.synth.backdrop import FLOORS, lay_floor
from prepcheck.synth.layers import BEAD, blank
from prepcheck.synth.metal import bare
from prepcheck.synth.oxide import Look, lay_oxide
from prepcheck.synth.part import OUTLINES, cut_out, part_outline
from prepcheck.synth.residue import place_pits, sink_pits
from prepcheck.synth.scene import bright_share, sample_recipe
from prepcheck.synth.skins import SKINS
from prepcheck.synth.strokes import TOOLS, untouched, work_over
from prepcheck.synth.things import KINDS as THINGS
from prepcheck.synth.things import put
from prepcheck.terms import State

SHAPE = (192, 256)
BURYING = Look((0.5, 0.5), (1.0, 1.0), (0.0, 0.0), (1e-6, 1e-6), (0.0, 0.0), (0.7, 0.7))


def recipe(**changes):
    plain = {
        "kind": "spots", "mm_per_px": 0.4, "tools": ("flap",), "spots": 1, "metal": "aluminium", "skin": "paint",
        "residue": "much", "bead": False, "holes": False, "edges": False, "joint": False, "fixings": False, "clutter": 0,
    }  # fmt: skip
    return Recipe(**{**plain, **changes})


def test_same_seed_gives_same_layers():
    one, two = make_surface(5, SHAPE), make_surface(5, SHAPE)
    assert np.array_equal(one.state, two.state)
    assert np.array_equal(one.height, two.height)


def test_other_seed_gives_other_layers():
    assert not np.array_equal(make_surface(5, SHAPE).state, make_surface(6, SHAPE).state)


@pytest.mark.parametrize("tool", TOOLS)
@pytest.mark.parametrize("kind", ["spots", "worked"])
def test_a_finished_spot_is_wholly_bright_whatever_the_tool(kind, tool):
    for seed in range(3):
        layers = make_surface(seed, SHAPE, recipe(kind=kind, tools=(tool,), residue="none"))
        assert layers.ground.any()
        assert (layers.state[layers.ground > 0] == State.BRIGHT).all()


def test_little_residue_is_little():
    shares = [bright_share(make_surface(seed, SHAPE, recipe(kind="worked", residue="little"))) for seed in range(12)]
    assert all(share < 1 for share in shares)
    assert np.median(shares) > 0.85


def test_much_residue_is_much():
    shares = [bright_share(make_surface(seed, SHAPE, recipe(kind="worked", residue="much"))) for seed in range(12)]
    assert np.median(shares) < 0.75


def test_oxide_covers_the_share_asked_for():
    rng = np.random.default_rng(4)
    layers, worked = blank((300, 400), 0.2), untouched((300, 400))
    lay_oxide(rng, layers, worked, np.ones((300, 400), bool), 0.3)
    assert np.mean(layers.state == State.OXIDE) == pytest.approx(0.3, abs=0.02)


@pytest.mark.parametrize(("framed", "share"), [(False, 0.25), (True, 0.12)])
def test_one_spot_in_four_is_left_wholly_bright_and_one_in_eight_of_the_framed(framed, share):
    drawn = [sample_recipe(np.random.default_rng(seed)) for seed in range(1200)]
    assert np.mean([one.residue == "none" for one in drawn if one.framed == framed]) == pytest.approx(share, abs=0.05)


@pytest.mark.parametrize("skin", ["paint", *SKINS])
def test_no_skin_is_a_spot(skin):
    layers = make_surface(1, SHAPE, recipe(kind="unworked", skin=skin))
    assert set(np.unique(layers.state)) == {State.COATING}


@pytest.mark.parametrize("floor", FLOORS)
def test_no_backdrop_is_work(floor):
    layers = blank(SHAPE, 0.2)
    assert lay_floor(np.random.default_rng(3), layers, floor) == floor
    assert not layers.state.any()
    assert layers.base.std() > 0.001 or floor == "mirror"


@pytest.mark.parametrize("kind", OUTLINES)
def test_ground_ends_where_the_part_ends(kind):
    rng = np.random.default_rng(2)
    layers = make_surface(2, SHAPE, recipe(kind="worked"))
    distance = part_outline(rng, SHAPE, kind)
    cut_out(rng, layers, distance, blank(SHAPE, 0.4))
    assert ((layers.ground > 0) == (distance > 0)).all()


@pytest.mark.parametrize("thing", THINGS)
def test_a_thing_on_the_part_is_background(thing):
    layers = make_surface(7, SHAPE, recipe(kind="worked", residue="none"))
    put(np.random.default_rng(12), layers, thing)
    hidden = layers.state == State.BACKGROUND
    assert hidden.any()
    assert not layers.ground[hidden].any()


def test_a_photograph_lies_behind_the_part_as_background(tmp_path):
    red = np.zeros((60, 80, 3), np.uint8)
    red[..., 2] = 255
    cv2.imwrite(str(tmp_path / "red.png"), red)
    shown = 0
    for seed in range(8):
        layers = make_surface(seed, SHAPE, recipe(kind="clutter"), (str(tmp_path / "red.png"),))
        assert not layers.state.any()
        shown += np.median(layers.base[..., 0]) > 0.5 and np.median(layers.base[..., 1]) < 0.05
    assert 1 <= shown < 8


def test_a_photograph_that_cannot_be_read_is_passed_over(tmp_path):
    (tmp_path / "torn.jpg").write_bytes(b"no picture")
    assert not make_surface(0, SHAPE, recipe(kind="clutter"), (str(tmp_path / "torn.jpg"),)).state.any()


def test_the_bead_is_bead():
    layers = make_surface(3, SHAPE, recipe(bead=True))
    assert np.mean(layers.state == BEAD) > 0.005


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
    assert kinds == {"spots", "worked", "unworked", "clutter"}


def test_picture_follows_the_contract():
    picture = make_picture(11, SHAPE)
    assert picture.image.shape == (*SHAPE, 3)
    assert picture.image.dtype == picture.states.dtype == picture.ground.dtype == np.uint8
    assert set(np.unique(picture.states)) <= {0, 1, 2, 3, 4, 5, 255}
    assert set(np.unique(picture.ground)) <= {0, 255}
    assert picture.meta["seed"] == 11
    assert np.array_equal(picture.image, make_picture(11, SHAPE).image)


def test_oxide_cuts_scratches_off():
    rng = np.random.default_rng(1)
    layers, worked = blank((300, 400), 0.1), untouched((300, 400))
    inside = np.ones((300, 400), bool)
    work_over(rng, worked, np.full((300, 400), 1e3, np.float32), 0.1, TOOLS["sanding"])
    bare(rng, layers, worked, inside, "aluminium")
    scratched = float(np.abs(np.diff(layers.height)).mean())
    oxide._coat(rng, layers, worked, np.ones((300, 400), np.float32), np.zeros((300, 400), np.float32), BURYING)
    assert np.abs(np.diff(layers.height)).mean() < 0.3 * scratched
    assert layers.metal.max() < 0.5


def test_deeper_coats_show_as_rings_around_the_spot():
    layers = make_surface(1, (384, 512), recipe(residue="none", mm_per_px=0.3))
    ring = (cv2.dilate(layers.ground, np.ones((9, 9))) > 0) & (layers.ground == 0)
    assert (layers.state[ring] == State.COATING).all()


def test_pits_are_pits():
    rng = np.random.default_rng(8)
    layers = blank((300, 400), 0.1)
    hole, radius = place_pits(rng, layers, np.ones((300, 400), bool), 40)
    before = layers.height.copy()
    sink_pits(rng, layers, hole, radius)
    pit = layers.state == State.PIT
    assert (pit == (hole >= 0.5)).all()
    assert pit.any()
    assert (layers.height[pit] < before[pit]).all()


def test_a_view_paints_on_the_same_planes():
    layers = blank((20, 30), 1.0)
    layers.view((slice(5, 10), slice(5, 10))).mix(np.ones((5, 5), np.float32), base=0.9, height=2.0)
    assert layers.height.sum() == 2.0 * 25
    assert layers.base[7, 7] == pytest.approx(0.9)
    assert layers.base[2, 2] == pytest.approx(0.3)


def test_mixing_changes_only_the_share():
    layers, share = blank((20, 30), 1.0), np.zeros((20, 30), np.float32)
    share[4:8, 4:8] = 0.5
    layers.mix(share, metal=np.full((20, 30), 0.8, np.float32))
    assert layers.metal[5, 5] == pytest.approx(0.4)
    assert layers.metal[0, 0] == 0


def test_nothing_to_mix_changes_nothing():
    layers = blank((20, 30), 1.0)
    layers.mix(np.zeros((20, 30), np.float32), metal=1.0)
    assert not layers.metal.any()
