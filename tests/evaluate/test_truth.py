"""Reading labelled folders: what photos are split by, and what is wrong with a folder."""

import json

import cv2
import numpy as np
import pytest

from prepcheck.errors import Unreadable
from prepcheck.evaluate.truth import read_points, read_truths, source_of, split_of
from prepcheck.terms import State


@pytest.fixture
def labelled(tmp_path):
    for name in ("images", "states", "ground", "meta"):
        (tmp_path / name).mkdir()
    states = np.full((20, 30), State.BRIGHT, np.uint8)
    cv2.imwrite(str(tmp_path / "states" / "a.png"), states)
    (tmp_path / "images" / "a.jpg").write_bytes(b"read later")
    return tmp_path


def only(folder):
    (truth,) = read_truths(folder)
    return truth


@pytest.mark.parametrize(
    ("meta", "says"),
    [
        ({"light": "torch"}, {"light": "torch"}),
        ({"bead": True}, {"bead": "True"}),
        ({"tools": ["flap", "brush"]}, {"tools": "flap+brush"}),
        ({"recipe": {"kind": "spots"}}, {"kind": "spots"}),
        ({"tilt_deg": 9.9}, {"tilt": "0 to 10 deg"}),
        ({"tilt_deg": 10}, {"tilt": "10 to 20 deg"}),
        ({"tilt_deg": 45.0}, {"tilt": "30 and more deg"}),
        ({"distance_mm": 399}, {"distance": "250 to 400 mm"}),
        ({"id": "a1", "group": "a"}, {}),
        ({"clean_fraction": 0.5, "seed": 3}, {}),
        ({"mm_per_px": float("nan"), "camera": {}}, {}),
    ],
)
def test_photos_are_split_by_words_and_by_numbers_in_bins(meta, says):
    assert split_of(meta) == says


@pytest.mark.parametrize(
    ("name", "source"),
    [("shop-a/x/1.jpg", "shop-a"), ("images/shopb_001.jpg", "shopb"), ("shopc_2.jpg", "shopc"), ("7.jpg", "7.jpg")],
)
def test_the_source_of_a_photo_is_its_folder_or_the_start_of_its_name(name, source):
    assert source_of(name) == source


def test_without_a_ground_file_the_labelled_pixels_are_the_ground_area(labelled):
    states = np.full((20, 30), State.CANNOT_TELL, np.uint8)
    states[5:10] = State.OXIDE
    cv2.imwrite(str(labelled / "states" / "a.png"), states)
    assert only(labelled).ground.sum() == 150


def test_without_a_group_a_photo_is_a_scene_of_its_own(labelled):
    assert (only(labelled).group, only(labelled).mm_per_px) == ("a", None)


@pytest.mark.parametrize("scale", [0, -1, "0.2", True, None, float("nan")])
def test_a_scale_that_is_none_is_no_scale(labelled, scale):
    (labelled / "meta" / "a.json").write_text(json.dumps({"mm_per_px": scale}))
    assert only(labelled).mm_per_px is None


def test_pits_alone_are_told_from_full_maps(labelled):
    assert not only(labelled).pits_only
    states = np.full((20, 30), State.CANNOT_TELL, np.uint8)
    states[5:10, 5:10] = State.PIT
    cv2.imwrite(str(labelled / "states" / "a.png"), states)
    assert only(labelled).pits_only


def test_a_code_that_is_no_state_is_refused(labelled):
    cv2.imwrite(str(labelled / "states" / "a.png"), np.full((20, 30), 6, np.uint8))
    with pytest.raises(Unreadable, match=r"states/a\.png: holds a code that is no state"):
        only(labelled)


def test_a_ground_area_of_another_size_is_refused(labelled):
    cv2.imwrite(str(labelled / "ground" / "a.png"), np.zeros((5, 5), np.uint8))
    with pytest.raises(Unreadable, match="ground and states of a differ in size"):
        only(labelled)


def test_a_meta_file_that_is_no_json_is_refused(labelled):
    (labelled / "meta" / "a.json").write_text("{")
    with pytest.raises(Unreadable, match=r"meta/a\.json: is no JSON"):
        only(labelled)


def test_photos_with_points_that_are_missing_are_left_out(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"read later")
    entries = [{"file": name, "points": [[1, 2]], "labels": [1]} for name in ("a.jpg", "b.jpg")]
    (tmp_path / "points.json").write_text(json.dumps(entries))
    assert [one.name for one in read_points(tmp_path)] == ["a.jpg"]
