"""A checkpoint made out of an exported model says what the model says, and can be gone on from."""

import json

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training needs the extra `train`")
pytest.importorskip("onnx", reason="training needs the extra `train`")

from prepcheck.train.__main__ import main  # noqa: E402
from prepcheck.train.export import export  # noqa: E402
from prepcheck.train.fit import averaged, load  # noqa: E402
from prepcheck.train.net import Eye  # noqa: E402

RUNS = [{"steps": 3, "seed": 1}]


@pytest.fixture(scope="module")
def restored(tmp_path_factory):
    """The exported net, its checkpoint made anew, and the picture it was made with."""
    folder = tmp_path_factory.mktemp("restored")
    torch.manual_seed(4)
    eye = Eye()
    with torch.no_grad():
        for _ in range(3):
            eye(torch.rand(2, 3, 96, 128))  # gives the batch norms something to hold
    export(eye.eval(), folder / "eye-0.onnx")
    (folder / "eye-0.json").write_text(json.dumps({"runs": RUNS}))
    (folder / "pictures").mkdir()
    cv2.imwrite(str(folder / "pictures/one.jpg"), np.random.default_rng(2).integers(0, 255, (96, 128, 3), np.uint8))
    told = ["restore", "eye-0", str(folder / "eye.pt"), str(folder / "pictures"), "--models", str(folder)]
    assert main(told) == 0
    return eye, folder


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::UserWarning", "ignore::FutureWarning")
def test_the_restored_net_says_what_the_exported_one_says(restored):
    eye, folder = restored
    again, _ = averaged(folder / "eye.pt")
    image = torch.rand(1, 3, 128, 160)
    with torch.no_grad():
        assert torch.allclose(again(image), eye(image), atol=1e-3)


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::UserWarning", "ignore::FutureWarning")
def test_its_batch_norms_hold_what_the_pictures_give(restored):
    weights = load(restored[1] / "eye.pt").average
    spread, scale = weights["fine2.1.running_var"], weights["fine2.1.weight"]
    assert torch.allclose(scale, torch.sqrt(spread + 1e-5), rtol=1e-4)
    assert not torch.allclose(spread, torch.ones_like(spread))


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::UserWarning", "ignore::FutureWarning")
def test_the_runs_of_the_card_are_carried_on(restored):
    stored = load(restored[1] / "eye.pt")
    assert stored.notes == {"runs": RUNS}
    assert stored.optimiser is None
