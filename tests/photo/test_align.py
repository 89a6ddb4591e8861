"""Photos laid over each other: generated pictures with a known homography."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from prepcheck.photo import Photo
from prepcheck.photo.align import Alignment, NotAligned, align
from prepcheck.settings import Settings

SIZE = (960, 720)
SETTINGS = Settings()


def part(seed: int, size: tuple[int, int] = SIZE) -> NDArray[np.float32]:
    """Linear reflectance of something like a ground part: blotches, scratches, pits and an edge; 0.05 to 1."""
    rng = np.random.default_rng(seed)
    width, height = size
    noise = rng.normal(size=(height, width)).astype(np.float32)
    blotches = cv2.GaussianBlur(noise, (0, 0), 14)
    plain = 0.45 + 0.2 * np.tanh(4 * blotches / blotches.std()) + 0.04 * cv2.GaussianBlur(noise, (0, 0), 1.2)
    for _ in range(160):
        start = rng.uniform((0, 0), size)
        end = start + rng.normal(0, 70, 2)
        grey = float(rng.uniform(0.2, 0.9))
        cv2.line(plain, tuple(map(int, start)), tuple(map(int, end)), grey, int(rng.integers(1, 4)), cv2.LINE_AA)
    for _ in range(60):
        cv2.circle(plain, tuple(map(int, rng.uniform((0, 0), size))), int(rng.integers(2, 7)), 0.1, -1, cv2.LINE_AA)
    return np.clip(plain, 0.05, 1)


def lit(plain: NDArray[np.float32], at: tuple[float, float], exposure: float = 1.0, seed: int = 0) -> NDArray[np.uint8]:
    """Torch light round `at` (shares of the picture), its highlight, a colour cast and noise."""
    height, width = plain.shape
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    far = ((x / width - at[0]) ** 2 + (y / height - at[1]) ** 2) / 0.3
    light = exposure * (plain * np.exp(-far) + 0.5 * np.exp(-18 * far))
    colour = np.clip(light[..., None] * np.array([1.0, 0.95, 0.85]), 0, 1) ** (1 / 2.2) * 255
    return np.clip(colour + np.random.default_rng(seed).normal(0, 2, colour.shape), 0, 255).astype(np.uint8)


def photo(rgb: NDArray[np.uint8], full: tuple[int, int] | None = None) -> Photo:
    width, height = full or (rgb.shape[1], rgb.shape[0])
    return Photo("hull.jpg", "0" * 64, 1, "JPEG", width, height, np.ascontiguousarray(rgb))


def hand(turn: float, scale: float, shift: tuple[float, float], tilt: float, size: tuple[int, int] = SIZE):
    """Homography from the other photo to the first."""
    about = cv2.getRotationMatrix2D((size[0] / 2, size[1] / 2), turn, scale)
    matrix = np.vstack([about, (0, 0, 1)])
    matrix[:2, 2] += np.multiply(shift, size)
    return matrix @ np.array([(1, 0, 0), (0, 1, 0), (tilt / size[0], tilt / size[0] / 2, 1)])


def moved(plain: NDArray[np.float32], matrix: NDArray[np.float64], size: tuple[int, int] = SIZE) -> NDArray[np.float32]:
    """The part as the other camera sees it, cut from a larger picture."""
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    return np.clip(cv2.warpPerspective(plain, matrix, size, flags=flags, borderMode=cv2.BORDER_REFLECT), 0, 1)


def error_px(found: NDArray[np.float64], true: NDArray[np.float64], size: tuple[int, int] = SIZE) -> float:
    """Median distance over a grid inside the other photo, at a long side of 1280."""
    grid = np.mgrid[0.15:0.85:9j, 0.15:0.85:9j].reshape(2, -1).T * np.array(size)
    ends = [cv2.perspectiveTransform(grid[:, None], matrix)[:, 0] for matrix in (found, true)]
    return float(np.median(np.linalg.norm(ends[0] - ends[1], axis=1)) * 1280 / max(size))


SHAKE = hand(4, 1.05, (0.04, -0.03), 0.03)


@pytest.fixture(scope="module")
def shaken() -> Alignment:
    plain = part(1)
    found = align(photo(lit(plain, (0.3, 0.4))), photo(lit(moved(plain, SHAKE), (0.7, 0.6), 0.7, 1)), SETTINGS)
    assert isinstance(found, Alignment)
    return found


def test_a_shaken_hand_under_a_moved_torch_is_undone_to_half_a_pixel(shaken: Alignment) -> None:
    assert error_px(shaken.matrix, SHAKE) < 0.5


def test_the_estimated_error_is_no_smaller_than_a_third_of_the_true_one(shaken: Alignment) -> None:
    assert shaken.error_px > error_px(shaken.matrix, SHAKE) / 3


@pytest.mark.parametrize("seed", range(4))
def test_two_different_parts_are_refused(seed: int) -> None:
    one, other = part(100 + 2 * seed), part(101 + 2 * seed)
    assert isinstance(align(photo(lit(one, (0.4, 0.4))), photo(lit(other, (0.4, 0.4))), SETTINGS), NotAligned)


def test_a_refusal_has_its_reason_in_words() -> None:
    blank = photo(np.full((720, 960, 3), 90, np.uint8))
    found = align(photo(lit(part(1), (0.4, 0.4))), blank, SETTINGS)
    assert isinstance(found, NotAligned)
    assert "no detail" in found.reason


def test_a_mirrored_photo_is_refused() -> None:
    rgb = lit(part(3), (0.4, 0.4))
    assert isinstance(align(photo(rgb), photo(rgb[:, ::-1]), SETTINGS), NotAligned)


def test_a_photo_of_half_the_size_gives_the_way_in_full_size_pixels() -> None:
    rgb = lit(part(4), (0.4, 0.4))
    small = cv2.resize(rgb, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    found = align(photo(rgb), photo(small), SETTINGS)
    assert isinstance(found, Alignment)
    assert error_px(found.matrix, np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1.0]]), (480, 360)) < 1.0


def test_a_photo_turned_by_a_quarter_is_aligned() -> None:
    rgb = lit(part(5), (0.4, 0.4))
    found = align(photo(rgb), photo(np.rot90(rgb)), SETTINGS)
    assert isinstance(found, Alignment)
    assert error_px(found.matrix, np.array([[0, -1, 959], [1, 0, 0], [0, 0, 1.0]]), (720, 960)) < 1.0


def test_a_raster_reduced_on_reading_gives_the_way_in_full_size_pixels() -> None:
    plain = part(6)
    twice = np.array([[0.5, 0, -0.25], [0, 0.5, -0.25], [0, 0, 1.0]])
    other = photo(lit(moved(plain, SHAKE), (0.6, 0.5)), (1920, 1440))
    found = align(photo(lit(plain, (0.4, 0.4))), other, SETTINGS)
    assert isinstance(found, Alignment)
    assert error_px(found.matrix, SHAKE @ twice, (1920, 1440)) < 1.0
