"""The mean of checkpoints: weights between theirs, and the runs of all."""

import pytest

torch = pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.train.__main__ import main  # noqa: E402
from prepcheck.train.fit import Checkpoint, averaged, load, save  # noqa: E402
from prepcheck.train.mean import mean_weights  # noqa: E402
from prepcheck.train.net import Eye  # noqa: E402

START, LEFT, RIGHT = {"seed": 1}, {"seed": 2}, {"seed": 3}


@pytest.fixture
def mean(tmp_path):
    """Two nets of different weights with a common first run, and the checkpoint of their mean."""
    eyes = []
    for name, last in (("left", LEFT), ("right", RIGHT)):
        torch.manual_seed(last["seed"])
        eyes.append(Eye())
        weights = eyes[-1].state_dict()
        save(tmp_path / f"{name}.pt", Checkpoint(weights, weights, None, {"runs": [START, last]}))
    assert main(["mean", str(tmp_path / "mean.pt"), str(tmp_path / "left.pt"), str(tmp_path / "right.pt")]) == 0
    return eyes, tmp_path / "mean.pt"


def test_each_weight_lies_halfway(mean):
    (left, right), path = mean
    eye, _ = averaged(path)
    halfway = (left.head.weight + right.head.weight) / 2
    assert torch.allclose(eye.head.weight, halfway, atol=1e-7)


def test_a_common_run_is_told_once(mean):
    assert load(mean[1]).notes["runs"] == [START, LEFT, RIGHT]


def test_different_nets_have_no_mean():
    with pytest.raises(ValueError, match="different nets"):
        mean_weights([{"a": torch.ones(1)}, {"b": torch.ones(1)}])
