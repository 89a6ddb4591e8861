"""Renders become photographs with the truth they were stored with."""

import json

import cv2
import numpy as np
import pytest

from prepcheck.synth.layers import BEAD
from prepcheck.synth.rendered import Render, save_render
from prepcheck.terms import State
from prepcheck.train.renders import develop, make_renders, read_render


@pytest.fixture
def renders(tmp_path):
    truth = np.zeros((2, 60, 80), np.uint8)
    truth[0, 10:30], truth[0, 30:40], truth[1, 10:40] = State.OXIDE, BEAD, 1
    notes = {"lights": {"surroundings": "hall", "lamp": "tubes", "torch": "flash"}, "mm_per_px": 0.2}
    light = np.random.default_rng(0).random((3, 3, 60, 80), np.float32)
    save_render(tmp_path, 5, Render(light, truth, notes))
    return tmp_path


def test_a_render_is_photographed_with_its_truth(renders, tmp_path):
    assert develop(renders, tmp_path / "set") == 1
    states = cv2.imread(str(tmp_path / "set/states/0000005.png"), cv2.IMREAD_UNCHANGED)
    assert (states[12], states[35]) == (pytest.approx(State.OXIDE), pytest.approx(State.CANNOT_TELL))
    assert cv2.imread(str(tmp_path / "set/ground/0000005.png"), cv2.IMREAD_UNCHANGED)[20].min() == 255
    assert cv2.imread(str(tmp_path / "set/images/0000005.jpg")).shape == (60, 80, 3)


def test_a_photograph_names_the_lights_that_are_on(renders, tmp_path):
    develop(renders, tmp_path / "set")
    meta = json.loads((tmp_path / "set/meta/0000005.json").read_text())
    assert set(meta["light"].split(" and ")) <= {"surroundings", "tubes", "flash"}
    assert meta["mm_per_px"] == 0.2


def test_a_photograph_is_taken_once(renders, tmp_path):
    develop(renders, tmp_path / "set")
    assert develop(renders, tmp_path / "set") == 0


def test_workers_render_each_seed_once_and_keep_what_is_there(tmp_path):
    mitsuba = pytest.importorskip("mitsuba", reason="needs the extra train")
    try:
        mitsuba.set_variant("llvm_ad_rgb")
    except (ImportError, RuntimeError) as error:
        pytest.skip(f"Mitsuba finds no LLVM here: {error}")
    make = (tmp_path, 3, 2, (48, 64), 1, 120.0, "llvm_ad_rgb", 1)
    assert make_renders(*make) == (2, 0)
    times = {p.name: p.stat().st_mtime_ns for p in tmp_path.glob("*.npz")}
    assert make_renders(*make) == (2, 0)
    assert {p.name: p.stat().st_mtime_ns for p in tmp_path.glob("*.npz")} == times
    assert read_render(tmp_path / "0000003.npz")[0].shape == (3, 3, 48, 64)
