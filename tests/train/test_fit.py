"""A tiny run from end to end: scenes, steps, checkpoint, calibration, export, and OpenCV reading the result."""

import json

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.synth.light import sample_rig  # noqa: E402
from prepcheck.synth.scene import make_surface  # noqa: E402
from prepcheck.synth.shade import radiance  # noqa: E402
from prepcheck.train import lit, pool  # noqa: E402
from prepcheck.train.__main__ import main  # noqa: E402
from prepcheck.train.calibrate import adjust, conformal, held  # noqa: E402

SHAPE = (160, 192)


def test_torch_and_numpy_light_alike():
    layers, rig = make_surface(1, SHAPE), sample_rig(np.random.default_rng(3))
    plain = radiance(layers, rig)
    packed = torch.from_numpy(pool.pack(layers))[None]
    middle = torch.tensor([[(SHAPE[1] - 1) / 2, (SHAPE[0] - 1) / 2]])
    batch = lit.light_up(packed, [rig], middle, torch.tensor([float(SHAPE[1])]), 14)[0].permute(1, 2, 0).numpy()
    # the packed planes are bytes, so single pixels differ; the middle must not
    assert np.median(np.abs(plain - batch) / (plain + 1e-3)) < 0.02


def test_rebuild_from_seeds_gives_the_same_bytes(tmp_path):
    for name in ("one", "two"):
        assert main(["scenes", str(tmp_path / name), "--count", "1", "--size", "96", "128", "--workers", "1"]) == 0
    assert (tmp_path / "one/0000000.npy").read_bytes() == (tmp_path / "two/0000000.npy").read_bytes()


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::UserWarning", "ignore::FutureWarning")
def test_whole_run(tmp_path):
    scenes, weights, models = tmp_path / "scenes", tmp_path / "eye.pt", tmp_path / "models"
    models.mkdir()
    photos = tmp_path / "photos"
    photos.mkdir()
    cv2.imwrite(str(photos / "a.jpg"), np.full((90, 120, 3), 120, np.uint8))
    np.savez(tmp_path / "regions.npz", **{"a.jpg": np.full((30, 40), 1, np.uint8)})
    main(["scenes", str(scenes), "--count", "3", "--size", *map(str, SHAPE), "--workers", "1"])
    for part in (("0", "0.5"), ("0.5", "1")):
        command = ["fit", str(weights), "--scenes", str(scenes), "--photos", str(photos), "--part", *part]
        command += ["--regions", str(tmp_path / "regions.npz"), "--everything", "--steps", "2", "--smaller", "4"]
        main([*command, "--rigs", "2", "--ring", "4", "--workers", "1"])
    main(["pictures", str(tmp_path / "held"), "--count", "6", "--size", "160", "192"])
    main(["calibrate", str(weights), str(tmp_path / "held"), "--out", str(models), "--name", "tiny"])
    registry = json.loads((models / "registry.json").read_text())
    card = json.loads((models / registry["models"]["tiny"]["card"]).read_text())
    assert {"sure", "error_scale", "error_floor"} <= set(card["calibration"])
    assert [(r["steps"], r["photos"]) for r in card["runs"]] == [(2, 1), (2, 1)]
    net = cv2.dnn.readNetFromONNX(str(models / "tiny.onnx"))
    net.setInput(np.zeros((1, 3, 128, 256), np.float32))
    maps = net.forward()
    assert maps.shape == (1, 8, 64, 128)
    assert np.allclose(maps[0, :7].sum(axis=0), 1, atol=1e-4)


def test_interval_holds_what_it_was_fitted_on():
    rng = np.random.default_rng(0)
    doubt = rng.uniform(0, 0.3, 400)
    rows = np.stack([np.abs(rng.normal(0, 0.2 * (doubt + 0.05))), doubt], axis=1)
    scale, floor = conformal(rows)
    assert held(rows, scale, floor)["holds"] >= 0.95


def test_no_adjustment_changes_nothing():
    chances = np.random.default_rng(0).dirichlet(np.ones(7), 50).astype(np.float32)
    assert np.allclose(adjust(chances, 1.0, 0.0), chances, atol=1e-5)
