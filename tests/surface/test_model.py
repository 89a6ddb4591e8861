"""Loading the model by its hash, and mapping a photo with it."""

import hashlib
import json
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from prepcheck import resources
from prepcheck.errors import ModelFault
from prepcheck.photo import Photo
from prepcheck.settings import Settings
from prepcheck.surface import ModelOrigin, SurfaceMap, load_model, map_surface
from prepcheck.surface.model import Model
from prepcheck.terms import State


class FixedNet:
    """Stands in for a net: gives the same eight numbers at every pixel."""

    def __init__(self, numbers):
        self.numbers = np.asarray(numbers, np.float32)

    def setInput(self, blob):  # noqa: N802
        self.shape = blob.shape[2:]

    def forward(self):
        return np.broadcast_to(self.numbers[None, :, None, None], (1, len(self.numbers), *self.shape))


def model_of(numbers, sure=0.5):
    return Model(ModelOrigin("fixed", "0" * 64, sure, 1.0, 0.0), FixedNet(numbers))


def photo(height=100, width=150, value=100):
    return Photo("p.jpg", "0" * 64, 1, "JPEG", 2 * width, 2 * height, np.full((height, width, 3), value, np.uint8))


BRIGHT = [0.1, 0.7, 0.1, 0.1, 0, 0, 0, 0.9]


def write_registry(folder, data=b"not a net", sha256=None):
    card = {"calibration": {"sure": 0.5, "error_scale": 1, "error_floor": 0}}
    entry = {"file": "m.onnx", "card": "m.json", "sha256": sha256 or hashlib.sha256(data).hexdigest()}
    (folder / "m.onnx").write_bytes(data)
    (folder / "m.json").write_text(json.dumps(card))
    (folder / "registry.json").write_text(json.dumps({"default": "m", "models": {"m": entry}}))


class SlowNet(FixedNet):
    """Tells the mean of what was put in, after a while in which another thread could put in something else."""

    def setInput(self, blob):  # noqa: N802
        super().setInput(blob)
        self.mean = float(blob.mean())
        time.sleep(0.002)

    def forward(self):
        return super().forward() * np.float32(self.mean)


def test_several_threads_each_get_the_maps_of_their_own_picture():
    model = Model(ModelOrigin("slow", "0" * 64, 0.5, 1.0, 0.0), SlowNet([1.0] * 8))
    levels = [51, 102, 153, 204] * 5
    with ThreadPoolExecutor(4) as pool:
        maps = pool.map(lambda level: model.run(np.full((64, 64, 3), level, np.uint8))[0], levels)
    assert [round(float(one.mean()) * 255) for one in maps] == levels


def test_a_model_file_with_one_byte_changed_is_refused(tmp_path):
    data = b"the registered model"
    write_registry(tmp_path, b"the registered mode1", hashlib.sha256(data).hexdigest())
    with pytest.raises(ModelFault, match="not the registered one"):
        load_model(models=tmp_path)


def test_a_file_that_is_no_net_is_refused_in_words(tmp_path):
    write_registry(tmp_path)
    with pytest.raises(ModelFault, match="OpenCV cannot read"):
        load_model(models=tmp_path)


def test_a_missing_model_file_is_refused_in_words(tmp_path):
    write_registry(tmp_path)
    (tmp_path / "m.onnx").unlink()
    with pytest.raises(ModelFault, match=r"m\.onnx"):
        load_model(models=tmp_path)


@pytest.mark.parametrize(
    ("file", "text", "says"),
    [
        ("registry.json", "{}", "default: Field required"),
        ("registry.json", "[]", "should be an object"),
        ("registry.json", '{"default": "m", "models": {"m": {}}}', r"models\.m\.file: Field required"),
        ("registry.json", '{"default"', "Invalid JSON"),
        ("m.json", "{}", "calibration: Field required"),
        ("m.json", '{"calibration": {"sure": "a", "error_scale": 1, "error_floor": 0}}', "valid number"),
        ("m.json", '{"calibration": {"sure": 0.5, "error_scale": NaN, "error_floor": 0}}', "finite number"),
        ("m.json", '{"calibration": {"sure": 0.5, "error_scale": -1, "error_floor": 0}}', "greater than or equal"),
    ],
)
def test_a_registry_or_card_that_says_something_else_is_refused_in_words(tmp_path, file, text, says):
    write_registry(tmp_path)
    (tmp_path / file).write_text(text)
    with pytest.raises(ModelFault, match=says) as caught:
        load_model(models=tmp_path)
    assert caught.value.subject == file


def test_a_missing_registry_is_refused_in_words(tmp_path):
    with pytest.raises(ModelFault, match=r"registry\.json: cannot be read \(No such file"):
        load_model(models=tmp_path)


def test_an_unknown_model_name_lists_the_known_ones(tmp_path):
    write_registry(tmp_path)
    with pytest.raises(ModelFault, match="Known: m"):
        load_model("other", tmp_path)


def write_two_models(folder):
    """Register the shipped net as `old`, and the same net with a note in its file and another calibration as `new`."""
    models = resources.folder("models")
    registry = json.loads((models / "registry.json").read_text(encoding="utf-8"))
    shipped = (models / registry["models"][registry["default"]]["file"]).read_bytes()
    nets = {"old": shipped, "new": shipped + b"\x32\x05later"}  # ONNX: field 6 of the model, its doc_string
    entries = {}
    for number, (name, data) in enumerate(nets.items()):
        (folder / f"{name}.onnx").write_bytes(data)
        card = {"calibration": {"sure": 0.4 + 0.1 * number, "error_scale": 1, "error_floor": 0}}
        (folder / f"{name}.json").write_text(json.dumps(card))
        sha256 = hashlib.sha256(data).hexdigest()
        entries[name] = {"file": f"{name}.onnx", "card": f"{name}.json", "sha256": sha256}
    (folder / "registry.json").write_text(json.dumps({"default": "new", "models": entries}))


def test_an_old_version_stays_loadable_beside_the_new_one(tmp_path):
    write_two_models(tmp_path)
    new, old = load_model(models=tmp_path), load_model("old", tmp_path)
    assert (new.origin.name, new.origin.sure) == ("new", 0.5)
    assert (old.origin.name, old.origin.sure) == ("old", 0.4)
    assert new.origin.sha256 != old.origin.sha256
    rgb = np.random.default_rng(0).integers(0, 256, (64, 96, 3), np.uint8)
    assert old.run(rgb)[0] == pytest.approx(new.run(rgb)[0], abs=1e-6)


def test_the_file_of_one_model_is_not_taken_for_that_of_another(tmp_path):
    write_two_models(tmp_path)
    (tmp_path / "old.onnx").write_bytes((tmp_path / "new.onnx").read_bytes())
    assert load_model("new", tmp_path).origin.name == "new"
    with pytest.raises(ModelFault, match="not the registered one"):
        load_model("old", tmp_path)


def test_every_registered_model_can_be_loaded():
    registry = json.loads((resources.folder("models") / "registry.json").read_text(encoding="utf-8"))
    assert [load_model(name).origin.name for name in registry["models"]] == list(registry["models"])


def test_the_most_probable_state_is_told():
    surface = map_surface(photo(), model_of(BRIGHT), Settings())
    assert np.unique(surface.states).tolist() == [State.BRIGHT]


def test_a_state_less_probable_than_sure_cannot_be_told():
    surface = map_surface(photo(), model_of(BRIGHT, sure=0.8), Settings())
    assert np.unique(surface.states).tolist() == [State.CANNOT_TELL]


def test_a_weld_bead_cannot_be_told():
    surface = map_surface(photo(), model_of([0, 0.2, 0, 0, 0, 0, 0.8, 0.9]), Settings())
    assert np.unique(surface.states).tolist() == [State.CANNOT_TELL]


@pytest.mark.parametrize("value", [250, 255])
def test_glare_never_turns_into_bright_metal(value):
    surface = map_surface(photo(value=value), model_of(BRIGHT), Settings())
    assert np.unique(surface.states).tolist() == [State.CANNOT_TELL]


def test_residue_is_what_is_not_bright_metal():
    surface = map_surface(photo(), model_of(BRIGHT), Settings())
    assert surface.residue == pytest.approx(0.3, abs=1e-6)


def test_something_laid_on_the_part_is_background_and_no_ground():
    outline = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 200.0], [0.0, 200.0]])
    surface = map_surface(photo(), model_of(BRIGHT), Settings(), outline)
    assert surface.states[50, 20] == State.BACKGROUND
    assert surface.ground[50, 20] == 0
    assert surface.states[50, 100] == State.BRIGHT


def test_positions_go_to_full_size_and_back():
    states = np.zeros((10, 20), np.uint8)
    surface = SurfaceMap(states, states, states, states, (3.0, 2.5), model_of(BRIGHT).origin)
    points = np.array([[0.0, 0.0], [7.5, 3.25]])
    assert surface.from_full(surface.to_full(points)) == pytest.approx(points)


def test_the_first_pixel_lies_at_the_middle_of_those_it_stands_for():
    states = np.zeros((10, 20), np.uint8)
    surface = SurfaceMap(states, states, states, states, (4.0, 4.0), model_of(BRIGHT).origin)
    assert surface.to_full(np.array([[0.0, 0.0]])).tolist() == [[1.5, 1.5]]


@pytest.mark.parametrize("size", [(1, 1), (20, 300), (64, 64), (100, 150)])
def test_a_picture_of_any_size_is_mapped_at_its_own_size(size):
    surface = map_surface(photo(*size), model_of(BRIGHT), Settings())
    assert surface.states.shape == size


@pytest.mark.parametrize(
    ("size", "seen"),
    [((600, 800), (960, 1280)), ((1024, 768), (1280, 960)), ((960, 1280), (960, 1280)), ((1200, 1600), (960, 1280))],
)
def test_the_model_sees_a_picture_at_working_size(size, seen):
    assert map_surface(photo(*size), model_of(BRIGHT), Settings()).states.shape == seen


def test_a_very_small_picture_is_not_enlarged():
    assert map_surface(photo(599, 799), model_of(BRIGHT), Settings()).states.shape == (599, 799)


def test_what_is_laid_on_a_small_picture_stays_in_its_place():
    outline = np.array([[0.0, 0.0], [600.0, 0.0], [600.0, 1200.0], [0.0, 1200.0]])
    surface = map_surface(photo(600, 900), model_of(BRIGHT), Settings(), outline)
    covered = surface.states == State.BACKGROUND
    assert covered.mean() == pytest.approx(1 / 3, abs=0.01)
