from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from prepcheck.photo import Photo, photo_flags, spot_flags
from prepcheck.photo.card import stated_plane
from prepcheck.photo.fitness import _LINEAR, cast_degrees
from prepcheck.photo.sharpness import blur_px, blur_px_worst_way
from prepcheck.settings import Settings
from prepcheck.terms import FLAGS
from tests.photo.pictures import scene

SETTINGS = Settings()
SHARP = scene(1280, 960, 4)


def photo(rgb, **given) -> Photo:
    height, width = rgb.shape[:2]
    return Photo("a.jpg", "0" * 64, 1, "JPEG", width, height, np.ascontiguousarray(rgb), **given)


def codes(rgb) -> set[str]:
    return {flag.code for flag in photo_flags(photo(rgb), SETTINGS)}


def in_spot(rgb, mask=None, **given) -> set[str]:
    if mask is None:
        mask = np.zeros((96, 128), bool)
        mask[20:80, 30:100] = True
    return {flag.code for flag in spot_flags(photo(rgb, **given), mask, SETTINGS)}


def grey(rgb):
    return cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)


def blurred(rgb, sigma):
    return cv2.GaussianBlur(rgb, (0, 0), sigma)


def shaken(rgb, length, degrees):
    line = np.zeros((length, length), np.float32)
    line[length // 2] = 1
    turn = cv2.getRotationMatrix2D(((length - 1) / 2, (length - 1) / 2), degrees, 1)
    line = cv2.warpAffine(line, turn, (length, length))
    return cv2.filter2D(rgb, -1, line / line.sum())


def noisy(rgb, sigma, seed=0):
    return np.clip(rgb + np.random.default_rng(seed).normal(0, sigma, rgb.shape), 0, 255).astype(np.uint8)


def compressed(rgb, quality):
    return cv2.imdecode(cv2.imencode(".jpg", rgb, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], 1)


def test_a_sharp_photo_in_fair_light_has_no_flag():
    assert codes(SHARP) == set()


def test_a_sharp_spot_has_no_flag():
    assert in_spot(SHARP) == set()


@pytest.mark.parametrize("sigma", [1.5, 2.0, 3.0, 4.0, 6.0])
def test_the_blur_of_edges_is_measured_in_pixels(sigma):
    """A step smoothed by a known Gaussian: the answer is known by arithmetic, within a tenth and the pixel's own width."""
    x = np.arange(256, dtype=np.float32)
    step = np.tile(np.where(x % 64 < 32, 60, 180).astype(np.float32), (256, 1))
    assert blur_px(cv2.GaussianBlur(step, (0, 0), sigma)) == pytest.approx(sigma, rel=0.1, abs=0.3)


@pytest.mark.parametrize("share", [0.15, 0.5, 1.0])
def test_the_blur_does_not_depend_on_contrast(share):
    soft = cv2.GaussianBlur(grey(SHARP), (0, 0), 2.5)
    assert blur_px(128 + (soft - 128) * share) == pytest.approx(blur_px(soft), abs=0.05)


def test_the_blur_grows_with_the_smoothing():
    blurs = [blur_px_worst_way(cv2.GaussianBlur(grey(SHARP), (0, 0), sigma)) for sigma in (0.5, 1, 1.5, 2, 3, 4, 6)]
    assert blurs == sorted(blurs)


def test_more_light_does_not_raise_the_blur():
    dim = grey(blurred(SHARP, 1.2)) * 0.5
    assert blur_px_worst_way(dim * 1.8) <= blur_px_worst_way(dim) + 0.02


@pytest.mark.parametrize("sigma", [2.5, 3, 5, 8])
def test_a_photo_out_of_focus_is_blurred(sigma):
    assert "blurred" in codes(blurred(SHARP, sigma))
    assert "blurred" in in_spot(blurred(SHARP, sigma))


@pytest.mark.parametrize("degrees", [0, 30, 45, 77, 90, 140])
def test_a_shaken_photo_is_blurred_whatever_the_way(degrees):
    assert "blurred" in codes(shaken(SHARP, 15, degrees))


@pytest.mark.parametrize(
    "spoil", [lambda rgb: noisy(rgb, 4), lambda rgb: compressed(rgb, 60), lambda rgb: compressed(noisy(rgb, 4), 75)]
)
def test_noise_and_compression_do_not_hide_blur(spoil):
    assert "blurred" in codes(spoil(blurred(SHARP, 3)))
    assert "blurred" not in codes(spoil(SHARP))


@pytest.mark.parametrize(
    "spoil", [lambda rgb: rgb, lambda rgb: noisy(rgb, 3), lambda rgb: compressed(noisy(rgb, 3), 80)]
)
def test_an_evenly_painted_wall_is_not_blurred(spoil):
    y, x = np.mgrid[0:960, 0:1280]
    wall = np.dstack([90 + x / 40 + y / 60] * 3).astype(np.uint8)
    assert "blurred" not in codes(spoil(wall))
    assert "blurred" not in in_spot(spoil(wall))


@pytest.mark.parametrize("degrees", [0, 25, 90])
def test_scratches_all_along_one_way_are_no_blur(degrees):
    rng = np.random.default_rng(2)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (1800, 1800)).astype(np.float32), (0, 0), sigmaX=20, sigmaY=0.6)
    turn = cv2.getRotationMatrix2D((900, 900), degrees, 1)
    brushed = cv2.warpAffine(130 + 25 * grain / grain.std(), turn, (1800, 1800))[420:1380, 260:1540]
    rgb = np.dstack([np.clip(brushed, 0, 255)] * 3).astype(np.uint8)
    assert "blurred" not in codes(rgb)
    assert "blurred" not in in_spot(rgb)


def test_blur_is_judged_at_the_size_that_the_model_sees():
    large = cv2.resize(SHARP, (2560, 1920), interpolation=cv2.INTER_CUBIC)
    assert "blurred" not in codes(blurred(large, 1.5))
    assert "blurred" in codes(blurred(large, 6))


def test_only_the_blur_inside_the_spot_counts_for_the_spot():
    rgb = blurred(SHARP, 5)
    rgb[200:800, 300:1000] = SHARP[200:800, 300:1000]
    assert "blurred" not in in_spot(rgb)
    rgb = SHARP.copy()
    rgb[180:820, 280:1020] = blurred(SHARP, 5)[180:820, 280:1020]
    assert "blurred" in in_spot(rgb)


@pytest.mark.parametrize(
    "spoil", [lambda rgb: rgb, lambda rgb: blurred(rgb, 3), lambda rgb: rgb // 8, lambda rgb: shaken(rgb, 15, 20)]
)
def test_quarter_turns_and_mirrors_leave_the_flags_as_they_are(spoil):
    rgb = spoil(SHARP)
    for turned in (np.rot90(rgb), np.rot90(rgb, 2), np.rot90(rgb, 3), rgb[:, ::-1]):
        assert codes(np.ascontiguousarray(turned)) == codes(rgb)


def test_a_dark_photo_is_too_dark_and_a_brighter_copy_is_not():
    assert "too_dark" in codes(SHARP // 8)
    assert "too_dark" not in codes(SHARP // 2)


def test_a_lit_spot_in_a_dark_room_is_not_too_dark():
    rgb = SHARP // 20
    rgb[200:800, 300:1000] = SHARP[200:800, 300:1000]
    assert "too_dark" not in codes(rgb)
    assert "too_dark" not in in_spot(rgb)


def test_a_spot_in_deep_shade_is_too_dark():
    rgb = SHARP.copy()
    rgb[180:820, 280:1020] //= 8
    assert "too_dark" not in codes(rgb)
    assert "too_dark" in in_spot(rgb)


def test_burnt_out_highlights_count_only_over_the_spot():
    rgb = SHARP.copy()
    rgb[:150] = 255
    assert "burnt_out" not in in_spot(rgb)
    rgb[300:600, 300:1000] = 255
    assert "burnt_out" in in_spot(rgb)


def test_a_white_photo_is_too_bright():
    assert "too_bright" in codes(np.full((960, 1280, 3), 255, np.uint8))


@pytest.mark.parametrize("light", [(1.0, 0.75, 0.35), (0.45, 0.75, 1.0), (0.5, 1.0, 0.5)])
def test_coloured_light_is_a_cast(light):
    tinted = (255 * ((SHARP / 255) ** 2.2 * light) ** (1 / 2.2)).astype(np.uint8)
    assert "colour_cast" in codes(tinted)


def test_white_light_is_no_cast():
    assert cast_degrees(SHARP) < 5


@pytest.mark.parametrize("rgb", [np.zeros((90, 90, 3), np.uint8), np.full((90, 90, 3), 255, np.uint8)])
def test_black_and_white_have_no_cast(rgb):
    assert cast_degrees(rgb) == 0


def test_a_spot_of_few_pixels_is_too_small():
    mask = np.zeros((960, 1280), bool)
    mask[300:340, 300:700] = True
    assert "small_spot" in in_spot(SHARP, mask)


def test_a_spot_whose_patches_cannot_be_resolved_is_too_small():
    assert "small_spot" in in_spot(SHARP, plane=stated_plane(1.0, SETTINGS.card))
    assert "small_spot" not in in_spot(SHARP, plane=stated_plane(0.1, SETTINGS.card))


def test_no_spot_has_no_flags():
    assert in_spot(SHARP, np.zeros((10, 10), bool)) == set()


def test_a_photo_that_looks_saved_again_is_flagged_but_not_blocked():
    flags = photo_flags(replace(photo(SHARP), re_encoded=True), SETTINGS)
    assert [(flag.code, flag.blocking) for flag in flags] == [("re_encoded", False)]


def test_every_flag_has_a_card_and_says_what_was_measured():
    worst = blurred(SHARP, 6) // 8
    mask = np.zeros((960, 1280), bool)
    mask[300:330, 300:700] = True
    flags = [*photo_flags(replace(photo(worst), re_encoded=True), SETTINGS), *spot_flags(photo(worst), mask, SETTINGS)]
    assert len(flags) >= 4
    for flag in flags:
        assert flag.blocking == FLAGS[flag.code].blocking
        assert flag.measured


def test_linear_light_follows_the_published_curve():
    """IEC 61966-2-1: 117.65 of 255 is 18 % grey, 187.5 of 255 is 50 %."""
    assert np.interp(117.65, np.arange(256), _LINEAR) == pytest.approx(0.18, abs=2e-4)
    assert np.interp(187.5, np.arange(256), _LINEAR) == pytest.approx(0.5, abs=2e-4)
