"""The renderer of the sample photos: geometry, truth, and that it makes again what is shipped."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from prepcheck.photo import from_bytes
from prepcheck.photo.card import find_card
from prepcheck.photo.photo import Plane
from prepcheck.resources import folder
from prepcheck.settings import Settings
from prepcheck.synth.bowser import CREAM, Ground, Laid, Patchwork, Wall, make_wall, to_canvas
from prepcheck.synth.sample_list import FLAT, PHONE, SHOTS, Shot
from prepcheck.synth.sample_photos import photo_bytes, take, write, write_registry
from prepcheck.synth.sample_view import View, project
from prepcheck.terms import State

SMALL = (320, 240)
SPOT = Ground((0.0, 0.0), (80.0, 70.0), ("pad",), 2, 2, Patchwork(0.3))
PLAIN = Shot(
    "plain", "a test", Wall(1, (190, 160), CREAM, spots=(SPOT,)), View(130), FLAT, "2026-03-02T10:12:31+01:00", "bright"
)


@cache
def plain(upright=False):
    return take(replace(PLAIN, upright=upright), SMALL)


def shipped(name):
    return next(shot for shot in SHOTS if shot.name == name)


def test_the_same_seeds_give_the_same_picture():
    once, again = plain(), take(PLAIN, SMALL)
    assert (once.rgb == again.rgb).all()
    assert (once.states == again.states).all()


def test_a_shipped_photo_is_made_again(tmp_path):
    entry = write(shipped("clean-torch"), tmp_path)
    place = folder("sample_images")
    made, kept = (cv2.imread(str(root / entry["file"])).astype(int) for root in (tmp_path, place))
    assert np.abs(made - kept).mean() < 0.5
    truth = entry["truth"]["states"]
    assert np.mean(cv2.imread(str(tmp_path / truth), 0) != cv2.imread(str(place / truth), 0)) < 1e-4


@pytest.mark.parametrize("tilt", [0.0, 25.0])
def test_the_view_agrees_with_opencvs_pinhole_camera(tilt):
    view = View(200.0, tilt, 40.0, 0.0, 0.9)
    eye = view.eye * view.width * (1, 1, -1)
    forward = -eye / np.linalg.norm(eye)
    right = np.array([1.0, 0, 0]) - forward[0] * forward
    right /= np.linalg.norm(right)
    turn = np.stack([right, np.cross(forward, right), forward])
    lens = np.array([[0.9 * 800, 0, 399.5], [0, 0.9 * 800, 299.5], [0, 0, 1]])
    points = np.array([[-60.0, 30, 0], [0, 0, 0], [50, -70, 0]])
    expected = cv2.projectPoints(points, cv2.Rodrigues(turn)[0], -turn @ eye, lens, None)[0][:, 0]
    seen = cv2.perspectiveTransform(points[None, :, :2], view.from_mm((800, 600)))[0]
    assert seen == pytest.approx(expected, abs=1e-6)


def test_a_square_view_shows_its_width():
    scale = Plane(np.linalg.inv(View(240.0, 0.0).from_mm((800, 600))), 0.0, "stated")
    assert scale.mm_per_px(399.5, 299.5) == pytest.approx(240 / 800)


@pytest.mark.parametrize("tilt", [0.0, 20.0])
def test_the_card_that_lies_on_the_wall_gives_the_true_scale(tilt):
    wall = Wall(4, (340, 300), card=Laid((20, 10), 12))
    taken = take(replace(PLAIN, wall=wall, view=View(210, tilt)), (640, 480))
    find = find_card(taken.rgb, Settings().card)
    assert find is not None
    at = (300.0, 200.0)
    assert Plane(find.to_mm, 0.0, "card").mm_per_px(*at) == pytest.approx(taken.mm_per_px(*at), rel=0.01)


def test_the_card_is_no_part_of_the_truth():
    layers = make_wall(replace(PLAIN.wall, card=Laid((0, 0))), 0.5)
    x, y = (to_canvas(layers) @ (0, 0, 1))[:2]
    assert layers.state[round(y), round(x)] == State.BACKGROUND
    assert layers.ground[round(y), round(x)] == 0


def test_less_oxide_lies_inside_more_oxide():
    less, more = (make_wall(replace(PLAIN.wall, spots=(replace(SPOT, oxide=Patchwork(s)),)), 0.4) for s in (0.1, 0.4))
    assert not ((less.state == State.OXIDE) & (more.state != State.OXIDE)).any()
    assert np.mean(more.state[more.ground > 0] == State.OXIDE) == pytest.approx(0.4, abs=0.03)


def test_a_view_wider_than_the_wall_is_refused():
    layers = make_wall(replace(PLAIN.wall, spots=()), 1.0)
    with pytest.raises(ValueError, match="too small for the view"):
        project(layers.state, layers, View(400), (100, 75), cv2.INTER_NEAREST)


def test_a_phone_held_upright_says_so_in_its_file():
    shot = replace(PLAIN, upright=True)
    taken = plain(upright=True)
    photo = from_bytes(photo_bytes(shot, taken), "a.jpg", Settings())
    assert (photo.width, photo.height) == (240, 320)
    assert np.abs(photo.rgb.astype(int) - taken.rgb).mean() < 5


def test_turning_the_picture_upright_turns_its_plane():
    flat, upright = plain(), plain(upright=True)
    assert upright.rgb[30, 40] == pytest.approx(flat.rgb[239 - 40, 30])
    assert upright.mm_per_px(40, 30) == pytest.approx(flat.mm_per_px(30, 239 - 40))


def test_a_photo_carries_time_and_camera_and_no_position():
    photo = from_bytes(photo_bytes(PLAIN, plain()), "a.jpg", Settings(), keep_position=True)
    assert (photo.taken, photo.camera) == ("2026-03-02T10:12:31+01:00", "Demo Invented phone")
    assert photo.position is None
    assert not photo.re_encoded


def test_more_light_brightens_the_picture():
    dark = take(replace(PLAIN, camera=replace(PHONE, grey=0.1)), SMALL)
    assert dark.rgb.mean() < 0.7 * plain().rgb.mean()


def test_a_registry_keeps_the_other_photos_in_the_lists_order(tmp_path):
    for name in ("pits", "clean-flat"):
        write_registry([{"file": f"{name}.jpg"}], tmp_path)
    told = json.loads((tmp_path / "registry.json").read_text())
    assert [sample["file"] for sample in told["samples"]] == ["clean-flat.jpg", "pits.jpg"]
    assert "Invented" in told["note"]
