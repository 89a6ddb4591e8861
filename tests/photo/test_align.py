"""Photos laid over each other: generated pictures with a known homography."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from prepcheck.photo import Photo
from prepcheck.photo import align as module
from prepcheck.photo.align import Alignment, NotAligned, align, ready
from prepcheck.photo.align_tiles import Tiles
from prepcheck.photo.card_image import card_image
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


@pytest.mark.parametrize("seed", range(2))
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


def test_portrait_and_landscape_of_one_view_are_aligned() -> None:
    plain = part(7, (960, 960))
    rgb = lit(plain, (0.45, 0.4))
    found = align(photo(rgb[120:840]), photo(lit(plain, (0.6, 0.6))[:, 120:840]), SETTINGS)
    assert isinstance(found, Alignment)
    assert error_px(found.matrix, np.array([[1, 0, 120], [0, 1, -120], [0, 0, 1.0]]), (720, 960)) < 0.5


def test_a_tiny_photo_is_refused() -> None:
    tiny = photo(np.full((3, 5, 3), 90, np.uint8))
    assert isinstance(align(tiny, photo(lit(part(1), (0.4, 0.4))), SETTINGS), NotAligned)


def test_a_limit_on_the_error_refuses_with_both_numbers() -> None:
    rule = SETTINGS.align.model_copy(update={"most_error_px": 0.2})
    plain = part(8)
    shaken = photo(lit(moved(plain, SHAKE), (0.7, 0.6), 0.7, 1))
    found = align(photo(lit(plain, (0.3, 0.4))), shaken, SETTINGS.model_copy(update={"align": rule}))
    assert isinstance(found, NotAligned)
    assert "limit 0.2 px" in found.reason


def test_photos_that_share_a_small_part_of_the_view_are_refused() -> None:
    wide = part(9, (1800, 720))
    found = align(photo(lit(wide[:, :960], (0.5, 0.5))), photo(lit(wide[:, 760:1720], (0.5, 0.5))), SETTINGS)
    assert isinstance(found, NotAligned)


def with_card(rgb: NDArray[np.uint8], at: tuple[int, int]) -> NDArray[np.uint8]:
    """The picture with a scale card 400 px long laid on it, its upper left corner at (x, y)."""
    card = cv2.resize(card_image(10), (400, 269), interpolation=cv2.INTER_AREA)
    laid = rgb.copy()
    laid[at[1] : at[1] + 269, at[0] : at[0] + 400] = (card * 0.85)[..., None].astype(np.uint8)
    return laid


def test_a_card_that_stays_gives_the_start() -> None:
    plain = part(10)
    one, other = (with_card(lit(plain, at), (60, 60)) for at in ((0.3, 0.5), (0.7, 0.5)))
    found = align(photo(one), photo(other), SETTINGS)
    assert isinstance(found, Alignment)
    assert (found.by, error_px(found.matrix, np.eye(3)) < 0.5) == ("card", True)


def test_a_card_that_was_moved_does_not_draw_the_surface_with_it() -> None:
    plain = part(11)
    one, other = with_card(lit(plain, (0.4, 0.5)), (60, 60)), with_card(lit(plain, (0.6, 0.5)), (520, 420))
    found = align(photo(one), photo(other), SETTINGS)
    assert isinstance(found, Alignment)
    assert error_px(found.matrix, np.eye(3)) < 0.5


def test_one_card_on_two_different_parts_is_refused() -> None:
    one, other = (with_card(lit(part(seed), (0.4, 0.5)), (60, 60)) for seed in (12, 13))
    assert isinstance(align(photo(one), photo(other), SETTINGS), NotAligned)


def test_what_is_masked_does_not_count() -> None:
    plain, stuck = part(14), part(15)
    one, other = lit(plain, (0.4, 0.5)), lit(moved(plain, SHAKE), (0.6, 0.5))
    mask = np.zeros((720, 960), bool)
    mask[:, :480] = True
    one[:, :480] = other[:, :480] = lit(stuck, (0.4, 0.5))[:, :480]
    found = align(ready(photo(one), SETTINGS, mask=mask), photo(other), SETTINGS)
    assert isinstance(found, Alignment)
    there = cv2.perspectiveTransform(np.array([[[720.0, 360.0]]]), found.matrix @ np.linalg.inv(SHAKE))[0, 0]
    assert np.hypot(*(there - (720, 360))) < 1.0


def test_a_photo_made_ready_once_gives_the_same_way_as_one_made_ready_each_time() -> None:
    one, other = (photo(lit(part(18), at)) for at in ((0.4, 0.5), (0.6, 0.5)))
    base, each = ready(one, SETTINGS), align(one, other, SETTINGS)
    again = align(base, ready(other, SETTINGS), SETTINGS)
    assert isinstance(again, Alignment)
    assert isinstance(each, Alignment)
    assert again.matrix == pytest.approx(each.matrix, abs=1e-3)


def test_what_is_made_of_a_ready_photo_is_made_once_for_all_alignments(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[Photo] = []
    whole = module._view
    monkeypatch.setattr(module, "_view", lambda photo, *more: seen.append(photo) or whole(photo, *more))
    base = ready(photo(lit(part(1), (0.4, 0.4))), SETTINGS)
    others = [photo(lit(part(1), (x, 0.5))) for x in (0.5, 0.6)]
    for other in others:
        align(base, other, SETTINGS)
    assert seen == [base.photo, *others]


def test_a_card_that_was_looked_for_is_not_looked_for_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "find_card", None)
    assert ready(photo(lit(part(1), (0.4, 0.4))), SETTINGS, find=None).card is None


def found_tiles(count: int, astray_px: float) -> Tiles:
    at = np.mgrid[100:1000:5j, 100:700:5j].reshape(2, -1).T
    off = np.random.default_rng(0).normal(0, astray_px, at.shape)
    return Tiles(at, off, np.arange(len(at)) < count, at, SIZE)


def test_of_two_ways_that_enough_places_bear_out_the_nearer_one_is_taken() -> None:
    assert module._how_well(found_tiles(20, 0.1)) > module._how_well(found_tiles(25, 1.5))


def test_of_two_ways_that_few_places_bear_out_the_one_with_more_is_taken() -> None:
    assert module._how_well(found_tiles(6, 0.1)) < module._how_well(found_tiles(10, 1.5))


def test_surroundings_at_one_side_only_leave_a_large_error() -> None:
    plain, ground = part(16), part(17)
    one, other = plain.copy(), plain.copy()
    other[:, 200:] = ground[:, 200:]
    same = align(photo(lit(one, (0.4, 0.5))), photo(lit(moved(one, SHAKE), (0.5, 0.5))), SETTINGS)
    ground_anew = align(photo(lit(one, (0.4, 0.5))), photo(lit(moved(other, SHAKE), (0.5, 0.5))), SETTINGS)
    assert isinstance(same, Alignment)
    assert isinstance(ground_anew, NotAligned) or ground_anew.error_px > 2 * same.error_px
