"""A checkpoint made out of an exported model says what the model says, and can be gone on from."""

import json

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training needs the extra `train`")
pytest.importorskip("onnx", reason="training needs the extra `train`")

from prepcheck import resources  # noqa: E402
from prepcheck.synth.light import sample_rig  # noqa: E402
from prepcheck.train import fit, pool, restore  # noqa: E402
from prepcheck.train.__main__ import main  # noqa: E402
from prepcheck.train.export import export  # noqa: E402
from prepcheck.train.fit import averaged, load, put_in  # noqa: E402
from prepcheck.train.net import Eye, Told  # noqa: E402

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
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(restore, "SIZE", (256, 192))
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


@pytest.fixture(scope="module")
def before_it_grew(tmp_path_factory):
    """Folder with a checkpoint made of a model that shipped before the net grew, its picture, and a scene."""
    folder = tmp_path_factory.mktemp("older")
    cv2.imwrite(str(folder / "one.jpg"), np.random.default_rng(2).integers(0, 255, (96, 128, 3), np.uint8))
    models = resources.folder("models")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(restore, "SIZE", (128, 96))
        assert main(["restore", "eye-6", str(folder / "eye.pt"), str(folder), "--models", str(models)]) == 0
    pool.make_scene((1, (96, 128), str(folder)))
    return folder


def test_a_model_from_before_the_net_grew_says_what_it_said(before_it_grew, monkeypatch):
    monkeypatch.setattr(restore, "SIZE", (128, 96))
    models = resources.folder("models")
    known = json.loads((models / "eye-6.json").read_text(encoding="utf-8"))["calibration"]
    eye = restore.restored(models / "eye-6.onnx", [before_it_grew / "one.jpg"])
    image = np.random.default_rng(5).random((1, 3, 96, 128), np.float32)
    net = cv2.dnn.readNetFromONNX(str(models / "eye-6.onnx"))
    net.setInput(image)
    with torch.no_grad():
        told = Told(eye, known["temperature"], known["oxide_bias"])(torch.from_numpy(image)).numpy()
    assert told == pytest.approx(net.forward(), abs=1e-3)


def test_channels_that_nothing_listens_to_are_the_first_to_go():
    torch.manual_seed(3)
    wide, net = Eye(fine=Eye.FINE + 3).eval(), Eye().eval()
    with torch.no_grad():
        wide.fine4[0].weight[:, [0, 4, 9]] = 0
        wide.head.weight[:, [0, 4, 9]] = 0
        put_in(net, restore.narrowed(wide.state_dict()))
        image = torch.rand(1, 3, 64, 96)
        assert torch.allclose(net(image), wide(image), atol=1e-5)


def go_on(checkpoint, scenes, monkeypatch):
    """Take one step from a checkpoint; gives what it leaves."""
    rigs = [sample_rig(np.random.default_rng(k)) for k in range(2)]
    monkeypatch.setattr(fit, "rig_pool", lambda *_: rigs)
    told = ["fit", str(checkpoint), "--scenes", str(scenes), "--steps", "1", "--smaller", "8", "--ring", "4"]
    assert main([*told, "--workers", "1"]) == 0
    return load(checkpoint)


def test_a_model_from_before_the_net_grew_is_gone_on_from(before_it_grew, tmp_path, monkeypatch):
    before = load(before_it_grew / "eye.pt")
    fit.save(tmp_path / "eye.pt", before)
    after = go_on(tmp_path / "eye.pt", before_it_grew, monkeypatch)
    assert [run["steps"] for run in after.notes["runs"][len(before.notes["runs"]) :]] == [1]
    assert not torch.equal(after.last["head.weight"], before.last["head.weight"])
    assert after.last["deep8.body.1.weight"].any()  # what it grew by is no longer silent


def test_an_optimiser_from_before_the_net_grew_is_left_behind(before_it_grew, tmp_path, monkeypatch):
    older = {name: w for name, w in load(before_it_grew / "eye.pt").last.items() if not name.startswith(Eye.GROWN)}
    fewer = torch.optim.AdamW([{"params": [torch.zeros(1)]} for _ in range(4)]).state_dict()
    fit.save(tmp_path / "eye.pt", fit.Checkpoint(older, older, fewer, {"runs": []}))
    after = go_on(tmp_path / "eye.pt", before_it_grew, monkeypatch)
    assert len(after.notes["runs"]) == 1
    assert len(after.optimiser["state"]) == len(list(Eye().parameters()))


def test_a_file_of_another_net_is_refused():
    with pytest.raises(ValueError, match=r"the file has 3 convolutions, the net \d+"):
        restore._pairs(Eye().eval(), 3)
