"""Calibrating the net that sees photos together, on made samples."""

import numpy as np
import pytest

pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.train.moved_calibrate import CHOICES, answers, choose, learn
from prepcheck.train.moved_samples import Sample, rated


def sample(group, told=3.0, shift=0.0, places=400):
    """The mean knows a little; the net's log odds are `told` on the right side, and `shift` off."""
    rng = np.random.default_rng(group)
    truth = rng.choice([1, 2], places).astype(np.uint8)
    side = np.where(truth == 1, 1, -1)
    mean, net = 0.3 * side + rng.normal(0, 1, places), told * side + shift + rng.normal(0, 1, places)
    chances = np.full((places, 7), 0.5 / 6, np.float32)
    chances[:, 1] = 0.5
    return Sample(group, 2, np.stack([mean, net], 1).astype(np.float32), chances, truth, 0.2, "moved")


SAMPLES = [sample(group) for group in range(10)]


def test_left_out_sets_are_told_better_than_by_the_mean():
    _, facts = learn(SAMPLES)
    assert facts["left_out"]["error"] < 0.5 * facts["mean"]["error"]


def test_a_net_that_leans_to_one_side_is_set_right():
    assert choose([sample(group, told=1.5, shift=1.5) for group in range(10)])[1] < -0.5


def test_a_choice_is_no_worse_calibrated_than_the_mean():
    made = [sample(group, told=8.0, shift=3.0) for group in range(10)]
    limit = rated([(s, s.odds[:, 0]) for s in made])["log_loss"]
    assert rated(answers(made, choose(made)))["log_loss"] <= limit


def test_the_numbers_hold_a_choice_that_was_tried_and_a_calibration_for_each_count():
    chosen, _ = learn(SAMPLES)
    assert (chosen["temperature"], chosen["shift"]) in CHOICES
    assert set(chosen["calibration"]) == {2}
