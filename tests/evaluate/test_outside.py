"""Pictures that show no work: none may end in standing `bright` with the model that ships."""

import csv
import json

import numpy as np
import pytest

from prepcheck.evaluate.outside import look_outside, shipped_pictures, write_outside
from prepcheck.evaluate.outside_pictures import KINDS, make_outsider
from prepcheck.settings import Settings
from prepcheck.surface import Model, ModelOrigin, load_model


@pytest.fixture(scope="module")
def seen():
    return list(look_outside(load_model(), Settings(), seeds=[11], shape=(480, 640)))


def test_no_picture_of_something_else_ends_in_standing_bright(seen):
    assert [f"{one.kind} {one.name}" for one in seen if one.standing == "bright"] == []


def test_not_one_of_their_spots_alone_is_bright_either(seen):
    assert [f"{one.kind} {one.name}" for one in seen if one.by_spots == "bright"] == []


def test_every_kind_and_the_shipped_photographs_are_looked_at(seen):
    assert {one.kind for one in seen} == {*KINDS, "shipped with scikit-image"}
    assert {"brick.png", "coffee.png", "gravel.png", "chelsea.png"} <= {one.name for one in seen}


class FooledNet:
    """Calls everything bright metal, and the middle of every picture a ground spot."""

    def setInput(self, blob):  # noqa: N802
        self.height, self.width = blob.shape[2:]

    def forward(self):
        maps = np.zeros((1, 8, self.height, self.width), np.float32)
        maps[0, 1] = 1
        maps[0, 7, self.height // 4 : -self.height // 4, self.width // 4 : -self.width // 4] = 1
        return maps


def test_a_model_that_is_fooled_is_found_out():
    model = Model(ModelOrigin("fooled", "0" * 64, 0.5, 0.0, 0.0), FooledNet())
    fooled = list(look_outside(model, Settings(), seeds=[0], shape=(480, 640), shipped=False))
    assert "residue left" not in {one.by_spots for one in fooled}
    assert {one.by_map for one in fooled} == {one.by_spots for one in fooled}  # its interval has no width
    assert sum(one.standing == "bright" for one in fooled) > len(KINDS) / 2
    assert all(0.2 < one.spots < 0.3 and one.bright > 0.9 for one in fooled if one.kind == "fabric")


@pytest.mark.parametrize("kind", KINDS)
def test_a_picture_is_made_again_by_its_seed_and_differs_by_it(kind):
    one, same, other = (make_outsider(kind, seed, (60, 80)) for seed in (1, 1, 2))
    assert one.shape == (60, 80, 3)
    assert np.array_equal(one, same)
    assert not np.array_equal(one, other)
    assert one.std() > 1


def test_the_shipped_pictures_lie_in_the_wheel():
    assert len(shipped_pictures()) > 15


def test_the_table_is_written_as_data_and_as_a_sheet(seen, tmp_path):
    write_outside(tmp_path, seen[:3], load_model())
    said = json.loads((tmp_path / "outside.json").read_text())
    assert [one["kind"] for one in said["pictures"]] == [one.kind for one in seen[:3]]
    assert len(list(csv.reader((tmp_path / "outside.csv").read_text().splitlines()))) == 4
    assert (tmp_path / "outside.jpg").read_bytes()[:2] == b"\xff\xd8"
