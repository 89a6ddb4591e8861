"""Learning how photos of a moved-light set are weighed, from made samples."""

from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("torch")

from prepcheck.surface.moved_evidence import NAMES
from prepcheck.surface.moved_light import Fusion, load_fusion
from prepcheck.train.fusion import Sample, learn, least_moved, write

TELLS = NAMES.index("level kept")


def sample(group, photos=2, places=400):
    """The mean knows nothing; one other evidence tells bright metal."""
    rng = np.random.default_rng(group)
    truth = rng.choice([1, 2], places).astype(np.uint8)
    evidence = rng.normal(0, 1, (places, len(NAMES))).astype(np.float32)
    evidence[:, 0] = 0
    evidence[:, TELLS] += 3 * (truth == 1)
    chances = np.full((places, 7), 0.5 / 6, np.float32)
    chances[:, 1] = 0.5
    return Sample(
        group, photos, evidence, chances, truth, 0.2 if group % 2 else 0.01, "moved" if group % 2 else "still"
    )


@pytest.fixture(scope="module")
def learned():
    return learn([sample(group) for group in range(10)], "a" * 64)


def test_what_tells_is_weighed_most(learned):
    assert int(np.argmax(np.abs(learned[0].weights))) == TELLS


def test_left_out_sets_are_told_better_than_by_the_mean(learned):
    _, facts = learned
    assert min(rated["log_loss"] for rated in facts["left_out"].values()) < 0.5 * facts["mean"]["log_loss"]


def test_the_written_file_gives_the_same_answers(learned, tmp_path):
    write(tmp_path / "moved_light.json", *learned)
    there, here = load_fusion(tmp_path), Fusion(learned[0], "")
    measured = np.random.default_rng(1).normal(0, 1, (len(NAMES), 4, 5)).astype(np.float32)
    assert there.weighed(measured) == pytest.approx(here.weighed(measured), abs=1e-3)


def test_learning_twice_gives_the_same_numbers(learned):
    assert learn([sample(group) for group in range(10)], "a" * 64)[0] == learned[0]


def test_the_threshold_of_movement_lies_between_still_and_moved(learned):
    assert learned[1]["least_moved"]["threshold"] == pytest.approx(0.105)
    assert learned[1]["least_moved"]["mixed_up"] == 0


def test_overlapping_movements_are_parted_where_fewest_are_mixed_up():
    threshold, mixed = least_moved([0.1, 0.3, 0.4, 0.5], [0.0, 0.05, 0.2, 0.02])
    assert 0.05 < threshold < 0.3
    assert mixed == pytest.approx(0.125)


def test_the_mean_stands_alone_where_nothing_errs_less():
    made = [replace(one, evidence=surely_right(one)) for one in map(sample, range(10))]
    numbers, facts = learn(made, "a" * 64)
    assert facts["chosen"] == "the mean alone"
    assert not np.any(numbers.weights)


def surely_right(one):
    evidence = one.evidence.copy()
    evidence[:, 0] = np.where(one.truth == 1, 3, -3)
    return evidence
