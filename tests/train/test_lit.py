"""Packed scenes are lit with ever other materials, under the same truth."""

from dataclasses import fields

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.synth.layers import TONES  # noqa: E402
from prepcheck.synth.light import sample_rig  # noqa: E402
from prepcheck.synth.scene import make_surface  # noqa: E402
from prepcheck.train import lit, pool, stock  # noqa: E402

SHAPE = (72, 96)
MIDDLE, WIDTH = torch.tensor([[48.0, 36.0]]), torch.tensor([96.0])


@pytest.fixture(scope="module")
def planes():
    return torch.from_numpy(pool.pack(make_surface(1, SHAPE)))[None]


@pytest.fixture(scope="module")
def rig():
    return sample_rig(np.random.default_rng(3))


@pytest.fixture
def patch(planes):
    return lit.unpack(planes, MIDDLE, WIDTH)


def seen(planes, rig, seed):
    """A picture of the scene, its materials varied by `seed` or not at all."""
    rng = None if seed is None else np.random.default_rng(seed)
    return lit.light_up(planes, [rig], MIDDLE, WIDTH, 4, rng)


def test_varied_materials_give_another_picture_of_the_scene(planes, rig):
    plain, one, other = (seen(planes, rig, seed) for seed in (None, 1, 2))
    for a, b in ((plain, one), (plain, other), (one, other)):
        assert ((a - b).abs() / (a + 1e-3)).median() > 0.02


def test_the_same_draw_gives_the_same_picture(planes, rig):
    assert torch.equal(seen(planes, rig, 1), seen(planes, rig, 1))


def test_lighting_anew_leaves_the_scene_and_its_truth_alone(planes, rig):
    before = planes.clone()
    stock.light_anew(np.random.default_rng(0), planes, [rig], 2)
    assert torch.equal(planes, before)


def test_only_finish_relief_and_tone_are_varied(patch):
    varied = lit.vary(np.random.default_rng(0), patch)
    same = {
        f.name
        for f in fields(patch)
        if f.name != "base" and torch.equal(*(getattr(p, f.name) for p in (patch, varied)))
    }
    assert same == {"x", "y", "theta", "metal", "cavity"}


def test_roughness_and_tones_keep_within_their_limits():
    anything = torch.randint(0, 256, (1, 12, *SHAPE), generator=torch.Generator().manual_seed(0))
    patch = lit.unpack(anything, MIDDLE, WIDTH)
    varied = [lit.vary(np.random.default_rng(seed), patch) for seed in range(60)]
    for limits, drawn in (
        (lit.ROUGHNESS, [a for v in varied for a in (v.alpha_u, v.alpha_v)]),
        (TONES, [c for v in varied for c in v.base]),
    ):
        ends = min(float(d.min()) for d in drawn), max(float(d.max()) for d in drawn)
        assert ends == pytest.approx(limits)  # all are kept, and both are met


def test_each_scene_of_a_batch_is_varied_by_itself(planes):
    two = lit.unpack(planes.expand(2, -1, -1, -1), MIDDLE.expand(2, 2), WIDTH.expand(2))
    deep = lit.vary(np.random.default_rng(0), two).slope_x
    assert not torch.allclose(deep[0], deep[1])
