"""The stock of scenes: what is cared for, and that light adds up."""

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.train import stock  # noqa: E402


def test_small_patches_of_residue_weigh_more_than_large_ones():
    state = np.ones((100, 100), np.uint8)
    state[2:6, 2:6] = 2
    state[20:90, 20:90] = 2
    weights = stock.care(state, np.ones_like(state))
    assert weights[3, 3] > weights[50, 50] == weights[99, 0] == 32


def test_residue_outside_of_spots_weighs_as_usual():
    state = np.full((40, 40), 1, np.uint8)
    state[10:13, 10:13] = 2
    assert (stock.care(state, np.zeros_like(state)) == 32).all()


def test_mixed_light_is_a_sum_of_the_lights():
    rng = np.random.default_rng(4)
    lights = torch.from_numpy(rng.uniform(0.1, 1, (3, 3, 8, 9)).astype(np.float16))
    mixed = stock.mix_lights(np.random.default_rng(0), lights).numpy().reshape(3, -1)
    for channel in range(3):
        columns = lights[:, channel].float().numpy().reshape(3, -1).T
        weights, rest = np.linalg.lstsq(columns, mixed[channel], rcond=None)[:2]
        assert rest < 1e-6 * np.sum(mixed[channel] ** 2)
        assert (weights > -1e-3).all()


def test_processes_share_the_scenes(tmp_path):
    for seed in range(10):
        np.save(tmp_path / f"{seed:07d}.npy", np.zeros((12, 4, 4), np.uint8))
    shares = [stock.Library([tmp_path], rank, 3) for rank in range(3)]
    for share in shares:
        share.look_again()
        share.look_again()
    assert sorted(p.stem for s in shares for p in s.packed) == [f"{k:07d}" for k in range(10)]
