"""Moved-light sets: one surface, a moved torch, known homographies."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from prepcheck.synth import Picture
from prepcheck.synth.layers import blank
from prepcheck.synth.sets import Pose, Seen, make_set
from prepcheck.synth.torches import LEAST_MOVED

SHAPE = (180, 240)
MOVED, STILL, FLASH = 7_900_002, 7_900_003, 7_900_007


@pytest.fixture(scope="module")
def moved() -> list[Picture]:
    """A set in which the torch moves."""
    return make_set(MOVED, SHAPE)


def _laid_on_first(picture: Picture, plane: np.ndarray, outside: int) -> np.ndarray:
    matrix = np.asarray(picture.meta["to_first"])
    return cv2.warpPerspective(plane, matrix, SHAPE[::-1], flags=cv2.INTER_NEAREST, borderValue=outside)


def test_the_same_seed_gives_the_same_set(moved: list[Picture]) -> None:
    again = make_set(MOVED, SHAPE)
    assert [one.image.tobytes() for one in again] == [one.image.tobytes() for one in moved]


def test_the_truth_of_each_photo_lands_on_that_of_the_first(moved: list[Picture]) -> None:
    for other in moved[1:]:
        states = _laid_on_first(other, other.states, 99)
        seen = states != 99
        assert np.mean(states[seen] == moved[0].states[seen]) > 0.98


def test_the_photos_do_not_lie_on_each_other_as_they_are(moved: list[Picture]) -> None:
    assert all(np.mean(one.states == moved[0].states) < 0.99 for one in moved[1:])


def test_the_torch_moves_by_no_less_than_the_least(moved: list[Picture]) -> None:
    assert all(_turned(one) >= LEAST_MOVED for one in moved[1:])


def test_the_light_on_the_part_differs_where_the_torch_moved(moved: list[Picture]) -> None:
    for other in moved[1:]:
        assert _light_change(moved[0], other) > 0.08


def test_the_light_hardly_differs_where_the_torch_hardly_moved() -> None:
    first, *others = make_set(STILL, SHAPE)
    assert first.meta["case"] == "still"
    assert all(_turned(one) < 6 for one in others)


def test_the_flash_is_on_in_one_photo_only() -> None:
    pictures = make_set(FLASH, SHAPE)
    assert [one.meta["case"] for one in pictures] == ["flash"] * len(pictures)
    assert sum(bool(one.meta["flash"]) for one in pictures) == 1


def test_all_photos_of_a_set_share_one_response(moved: list[Picture]) -> None:
    kept = {tuple(one.meta["camera"][k] for k in ("vignette", "hdr", "contrast", "sharpen")) for one in moved}  # type: ignore[index]
    assert len(kept) == 1


def test_relief_moves_against_the_plane_as_a_pinhole_camera_sees_it() -> None:
    """A point 5 mm off a plane is seen where the ray from the eye through it meets the plane (similar triangles)."""
    layers = blank((200, 300), 0.5)
    layers.height[80:120, 200:260] = 5.0
    layers.ground[:20] = 1
    pose = Pose(140.0, (10.0, 0.0), 0.0, (0.0, 0.0), 1.0)
    seen = Seen(layers, pose, (200, 300))
    eye = pose.view.eye * pose.width
    point = np.asarray([(230 - 149.5) * 0.5, (100 - 99.5) * 0.5])
    on_plane = eye[:2] + (point - eye[:2]) * eye[2] / (eye[2] - 5.0)
    x, y = cv2.perspectiveTransform(on_plane[None, None], pose.from_mm((300, 200)))[0, 0]
    assert np.allclose(seen.places[round(y), round(x)], (230, 100), atol=0.8)


def _light_change(first: Picture, other: Picture) -> float:
    """Spread of the log of the brightness ratio of two photos laid on each other, smoothed."""
    grey = cv2.GaussianBlur(first.image.mean(axis=2).astype(np.float32), (0, 0), 4)
    laid = cv2.GaussianBlur(_laid_on_first(other, other.image.mean(axis=2).astype(np.float32), 0), (0, 0), 4)
    seen = cv2.erode((_laid_on_first(other, np.ones(SHAPE, np.uint8), 0)), np.ones((25, 25), np.uint8)) > 0
    return float(np.std(np.log((grey[seen] + 2) / (laid[seen] + 2))))


def _turned(picture: Picture) -> float:
    """Degrees between the torch's direction and that of the first photo."""
    return float(str(picture.meta["torch_moved_deg"]))
