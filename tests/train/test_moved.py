"""The net that sees the photos of a set together: what it starts from, that both sides build the same, and a tiny run."""

import hashlib
import json
from contextlib import nullcontext
from dataclasses import replace

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.errors import ModelFault  # noqa: E402
from prepcheck.moved_planes import PLANES, SEEN  # noqa: E402
from prepcheck.photo import Photo  # noqa: E402
from prepcheck.settings import Settings  # noqa: E402
from prepcheck.surface import ModelOrigin, SurfaceMap, mapping  # noqa: E402
from prepcheck.surface import moved_net as numpy_side  # noqa: E402
from prepcheck.surface.moved_evidence import blur, lay_over, log_odds  # noqa: E402
from prepcheck.surface.moved_light import fuse, load_weighing  # noqa: E402
from prepcheck.synth.torches import draw_room  # noqa: E402
from prepcheck.terms import State  # noqa: E402
from prepcheck.train import moved_feed, moved_fit, pool  # noqa: E402
from prepcheck.train.__main__ import main  # noqa: E402
from prepcheck.train.fit import Checkpoint, save  # noqa: E402
from prepcheck.train.moved_calibrate import export  # noqa: E402
from prepcheck.train.moved_net import Moved  # noqa: E402
from prepcheck.train.net import Eye  # noqa: E402
from prepcheck.train.stock import Library  # noqa: E402

SIZE = (64, 96)
ORIGIN = ModelOrigin("fixed", "0" * 64, 0.6, 1.0, 0.01)
SHIFT = np.array([[1.0, 0, 8], [0, 1, -4], [0, 0, 1]])
CALIBRATION = {"2": {"sure": 0.9, "error_scale": 3.0, "error_floor": 0.02}}


def shot(seed):
    """A photo of noise with a map of noise, some of it burnt out."""
    rng = np.random.default_rng(seed)
    rgb = rng.integers(0, 200, (*SIZE, 3), np.uint8)
    rgb[20:24, 10:20] = 255
    half = SIZE[0] // 2, SIZE[1] // 2
    chances = rng.dirichlet(np.ones(7), half).transpose(2, 0, 1).astype(np.float32)
    burnt = cv2.resize((rgb.min(axis=2) >= 250).astype(np.uint8), half[::-1], interpolation=cv2.INTER_AREA) > 0
    ground = rng.uniform(0, 1, half).astype(np.float32)
    states, bright = mapping.told(chances, burnt, ORIGIN.sure)
    photo = Photo(f"{seed}.jpg", str(seed) * 64, 1, "JPEG", SIZE[1], SIZE[0], rgb)
    return photo, SurfaceMap(states, bright, ground, burnt, (2.0, 2.0), ORIGIN, chances)


SHOTS = [shot(seed) for seed in (1, 2, 3)]


def laid(*order):
    """Views of the photos in an order, each but the first moved by its own shift."""
    shots = [SHOTS[k] for k in order]
    return lay_over(
        [p for p, _ in shots], [m for _, m in shots], [SHIFT * [[1, 1, k], [1, 1, 1], [1, 1, 1]] for k in order[1:]]
    )


def net(seed=0, last=0.2):
    torch.manual_seed(seed)
    made = Moved().eval()
    torch.nn.init.normal_(made.together.last.weight, std=last)
    return made


class Shipped:
    """Files of a net in a folder, as `prepcheck.train.moved_calibrate` leaves them."""

    def __init__(self, folder, made, **changes):
        self.folder, self.path = folder, folder / numpy_side.FILE
        self.sums = export(made, folder)
        numbers = {
            "model_sha256": ORIGIN.sha256,
            **self.sums,
            "temperature": 1.0,
            "shift": 0.0,
            "calibration": CALIBRATION,
        }
        self.path.write_text(json.dumps(numbers | changes))

    def load(self):
        return numpy_side.load_moved_net(self.folder)


@pytest.fixture(scope="module")
def shipped(tmp_path_factory):
    return Shipped(tmp_path_factory.mktemp("models"), net())


class Matrix:
    def __init__(self, matrix):
        self.matrix = matrix


def fused(weighing, order=(0, 1)):
    shots = [SHOTS[k] for k in order]
    return fuse([p for p, _ in shots], [m for _, m in shots], [Matrix(SHIFT)] * (len(order) - 1), Settings(), weighing)


def torch_planes(views):
    """The planes by the torch side, from the same maps."""
    count = len(views.chances)
    photos = torch.from_numpy(np.stack([SHOTS[k][0].rgb for k in range(count)])).permute(0, 3, 1, 2).float() / 255
    stack = torch.cat([
        torch.from_numpy(np.stack([SHOTS[k][1].chances for k in range(count)])),
        torch.from_numpy(np.stack([SHOTS[k][1].ground for k in range(count)]))[:, None], moved_feed.log_light(photos),
        torch.from_numpy(np.stack([SHOTS[k][1].burnt for k in range(count)])).float()[:, None],
    ], 1)  # fmt: skip
    back = [np.eye(3), *(np.linalg.inv(SHOTS[0][1].from_map(SHOTS[k][1], SHIFT * [[1, 1, k], [1, 1, 1], [1, 1, 1]]))
                         for k in range(1, count))]  # fmt: skip
    return moved_feed.lay_over(stack, torch.from_numpy(np.stack(back)), (1, count))


def smoothed(odds):
    return blur(odds, numpy_side.SMOOTHING)


def test_both_sides_lay_out_the_same_planes():
    views = laid(0, 1, 2)
    planes, mean, burnt = torch_planes(views)
    assert planes[0].numpy() == pytest.approx(numpy_side.planes_of(views), abs=2e-3)
    assert mean[0].numpy() == pytest.approx(log_odds(views.mean[State.BRIGHT]), abs=2e-3)
    assert np.array_equal(burnt[0].numpy() > 0, views.burnt)


def test_both_sides_smooth_chances_alike():
    chances = SHOTS[0][1].chances
    both = moved_feed.smoothed(torch.from_numpy(chances)[None], 0.8)[0].numpy(), mapping.smoothed(chances, 0.8)
    assert both[0] == pytest.approx(both[1], abs=1e-5)


def test_the_exported_files_say_what_the_net_says_smoothed(shipped):
    views = laid(0, 1, 2)
    planes = torch.from_numpy(numpy_side.planes_of(views))[None]
    with torch.no_grad():
        said = net()(planes, torch.from_numpy(log_odds(views.mean[State.BRIGHT]))[None])[0].numpy()
    assert shipped.load().raw_odds(views) == pytest.approx(smoothed(said), abs=1e-3)


def test_a_net_that_was_not_fitted_says_what_the_mean_says_smoothed(tmp_path):
    views = laid(0, 1)
    said = Shipped(tmp_path, Moved().eval()).load().bright_odds(views)
    assert said == pytest.approx(smoothed(log_odds(views.mean[State.BRIGHT])), abs=1e-5)


def test_the_order_of_the_other_photos_does_not_matter_to_the_net(shipped):
    one, other = (shipped.load().raw_odds(laid(*order)) for order in ((0, 1, 2), (0, 2, 1)))
    assert one == pytest.approx(other, abs=1e-4)


@pytest.mark.parametrize("shape", [(30, 44), (31, 45), (9, 40)])
def test_maps_of_any_size_are_seen(shipped, shape):
    views = laid(0, 1)
    rows, columns = shape
    cut = replace(
        views, **{k: getattr(views, k)[..., :rows, :columns] for k in vars(views) if k not in ("mean", "level")}
    )
    assert shipped.load().raw_odds(cut).shape == shape


def test_a_net_that_fits_the_model_is_used_with_its_calibration(shipped):
    result = fused(shipped.load())
    assert result.learned == hashlib.sha256(shipped.path.read_bytes()).hexdigest()
    assert (result.surface.model.sure, result.surface.model.error_scale) == (0.9, 3.0)


def test_a_net_learned_for_another_model_is_not_used(tmp_path):
    result = fused(Shipped(tmp_path, net(), model_sha256="1" * 64).load())
    assert (result.learned, result.surface.model) == ("", ORIGIN)


def test_a_net_in_a_folder_is_found_for_its_model(shipped):
    assert load_weighing(ORIGIN.sha256, shipped.folder).sha256 == shipped.load().sha256


def test_a_folder_without_a_net_has_none(tmp_path):
    assert numpy_side.load_moved_net(tmp_path) is None


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"calibration": {}}, "calibration: "),
        ({"temperature": 0}, "temperature: "),
        ({"each_sha256": "2" * 64}, "SHA-256 differs"),
    ],
)
def test_numbers_that_say_something_else_are_refused(tmp_path, changes, says):
    with pytest.raises(ModelFault, match=says):
        Shipped(tmp_path, Moved().eval(), **changes).load()


@pytest.mark.parametrize("name", [numpy_side.EACH, numpy_side.TOGETHER])
def test_a_broken_file_is_refused(tmp_path, name):
    broken = Shipped(tmp_path, Moved().eval())
    (tmp_path / name).write_bytes(b"no net")
    with pytest.raises(ModelFault, match="SHA-256 differs"):
        broken.load()


def test_nets_that_give_something_else_are_a_fault(shipped):
    swapped = replace(shipped.load(), together=shipped.load().each)
    with pytest.raises(ModelFault, match="net for several photos"):
        swapped.raw_odds(laid(0, 1))


def test_a_shake_and_the_way_back_meet():
    rng = np.random.default_rng(0)
    hand = moved_feed.shakes(rng, 1)
    there = moved_feed.back(np.random.default_rng(1), hand, (768, 1024))
    size = (1023 / 2, 767 / 2)
    place = np.array([100.0, 50.0])  # of the first's map
    full = (2 * place + 0.5 - size) / size[1]
    other = np.linalg.inv(hand[0]) @ [*full, 1]
    expected = ((other[:2] / other[2]) * size[1] + size - 0.5) / 2
    got = there[0] @ [*place, 1]
    assert got[:2] / got[2] == pytest.approx(expected, abs=2.0)  # a slip of 0.35 px a standard deviation is left


def test_a_batch_is_made_on_its_device_alone(tmp_path, monkeypatch):
    """The device without memory refuses whatever was left on the CPU."""
    monkeypatch.setattr(torch, "autocast", lambda *_, **__: nullcontext())
    pool.make_scene((1, (96, 128), str(tmp_path)))
    device = torch.device("meta")
    sight = moved_feed.Sight(Eye().eval().to(device), 0.9, 0.1, 1.5)
    feed = moved_feed.SetFeed(
        Library([tmp_path]), sight, [draw_room(np.random.default_rng(0))], device, sets=2, ring=3, refresh=1.0, samples=2,
        rendered=0.0, seed=0, workers=1,
    )  # fmt: skip
    batch = feed.batch()
    assert Moved().to(device)(batch.pictures, batch.labels).device == device
    assert batch.pictures.shape[2:] == (PLANES, 48, 64)


def test_half_precision_is_close_enough():
    views = laid(0, 1, 2)
    planes, mean = (
        torch.from_numpy(numpy_side.planes_of(views))[None],
        torch.from_numpy(log_odds(views.mean[State.BRIGHT])),
    )
    with torch.no_grad():
        whole = net()(planes, mean[None])
        with torch.autocast("cpu", torch.bfloat16):
            half = net()(planes, mean[None])
    assert half.dtype == torch.float32
    assert half.numpy() == pytest.approx(whole.numpy(), abs=0.1)


def test_only_readable_ground_is_judged_and_small_patches_most():
    truth = torch.tensor([[1, 2, 2, 6, 2, 2], [1, 1, 1, 1, 0, 1], [32, 32, 128, 32, 32, 32]], dtype=torch.uint8)
    burnt = torch.tensor([0.0, 0, 0, 0, 0, 1])
    weight = moved_fit.judged(truth[None, :, None], burnt.view(1, 1, 6))[0, 0].tolist()
    assert weight == pytest.approx([1, 1.8, 7.2, 0, 0, 0])


def test_a_few_steps_on_one_batch_lower_the_loss():
    torch.manual_seed(0)
    made = Moved().train()
    truth = torch.ones(1, 3, 32, 48, dtype=torch.uint8) * 32
    truth[:, 0], truth[:, 0, :, 24:] = 1, 2
    planes = torch.randn(1, 2, PLANES, 32, 48) * 0.1
    planes[:, :, SEEN] = 1
    planes[:, :, 5, :, 24:] += 1
    mean, burnt = torch.zeros(1, 32, 48), torch.zeros(1, 32, 48)
    optimiser = torch.optim.AdamW(made.parameters(), 5e-3)
    losses = []
    for _ in range(25):
        loss = moved_fit.moved_loss(made(planes, mean), truth, burnt)
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        losses.append(loss.item())
    assert losses[-1] < 0.5 * losses[0]


def test_a_tiny_run_from_scenes_goes_on_from_its_checkpoint(tmp_path):
    torch.manual_seed(0)
    weights = Eye().state_dict()
    save(tmp_path / "eye.pt", Checkpoint(weights, weights, None, {"runs": []}))
    pool.make_scene((1, (96, 128), str(tmp_path)))
    rng = np.random.default_rng(0)
    truth = np.stack([rng.integers(1, 3, (96, 128)), np.ones((96, 128))]).astype(np.uint8)
    np.savez(tmp_path / "0000002.npz", light=rng.uniform(0, 2, (3, 3, 96, 128)).astype(np.float16), truth=truth)
    command = ["moved", str(tmp_path / "moved.pt"), "--eye", str(tmp_path / "eye.pt"), "--scenes", str(tmp_path)]
    command += ["--steps", "2", "--workers", "1", "--rooms", "2", "--ring", "16", "--smaller", "3"]
    assert [main(command), main([*command, "--rendered", "1"])] == [0, 0]
    runs = moved_fit.averaged_moved(tmp_path / "moved.pt")[1]["runs"]
    assert [run["steps"] for run in runs] == [2, 2]
    assert all(np.isfinite(run["log"][0]["loss"]) for run in runs)
