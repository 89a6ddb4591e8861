"""The scale card in pictures whose true homography is known."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from prepcheck.errors import WrongUse
from prepcheck.photo import Photo
from prepcheck.photo import card_design as design
from prepcheck.photo.card import CardFind, find_card, plane_of, with_scale
from prepcheck.settings import CardSettings, Settings
from tests.cards import Picture, View, photograph

PLAIN = View(share=0.3, tilt=25, turn=30, lean=70)
SIZE = (1280, 960)


@cache
def picture(view: View = PLAIN) -> Picture:
    return photograph(view, 3, *SIZE)


def found(view: View = PLAIN) -> CardFind:
    find = find_card(picture(view).rgb, CardSettings())
    assert find is not None
    return find


def photo(rgb: np.ndarray, reduction: int = 1) -> Photo:
    height, width = rgb.shape[:2]
    return Photo("a.jpg", "0" * 64, 1, "JPEG", width * reduction, height * reduction, rgb)


def scale_fault(find: CardFind, truth: Picture) -> float:
    middle = truth.card_middle
    return abs(plane_of(find, 1.0).mm_per_px(*middle) / truth.mm_per_px(*middle) - 1)


@pytest.mark.parametrize("tilt", [0, 20, 40])
@pytest.mark.parametrize("covered", [None, 0, 1, 2, 3])
def test_the_scale_is_within_one_percent_with_a_corner_covered(tilt: float, covered: int | None) -> None:
    view = replace(PLAIN, tilt=tilt, covered=covered, shadow=0.4)
    find = found(view)
    assert not find.doubtful
    assert scale_fault(find, picture(view)) < 0.01


def test_a_card_at_a_twentieth_of_the_width_is_found() -> None:
    truth = photograph(View(share=0.055, tilt=30, turn=75, covered=1), 5)
    find = find_card(truth.rgb, CardSettings())
    assert find is not None
    assert scale_fault(find, truth) < 0.01


def test_corners_lie_within_a_third_of_a_pixel_of_the_rendered_truth() -> None:
    find = found()
    mm = np.concatenate([design.marker_corners()[number] for number in find.markers])
    assert np.median(np.linalg.norm(find.corners - picture().to_px(mm), axis=1)) < 0.33


def test_the_outline_lies_on_the_card() -> None:
    assert np.abs(found().outline - picture().to_px(design.outline())).max() < 2


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_quarter_turns_of_the_picture_keep_the_scale(turns: int) -> None:
    turned = find_card(np.ascontiguousarray(np.rot90(picture().rgb, turns)), CardSettings())
    assert turned is not None
    area = cv2.contourArea(turned.outline.astype(np.float32))
    assert area == pytest.approx(cv2.contourArea(found().outline.astype(np.float32)), rel=0.004)


def test_a_mirrored_card_is_not_taken_for_one() -> None:
    assert find_card(np.ascontiguousarray(picture().rgb[:, ::-1]), CardSettings()) is None


def test_a_picture_without_card_has_no_find() -> None:
    rng = np.random.default_rng(1)
    assert find_card(rng.integers(0, 255, (480, 640, 3), dtype=np.uint8), CardSettings()) is None


def test_the_checking_line_scales_all_lengths() -> None:
    shrunk = find_card(picture().rgb, CardSettings(check_line_mm=96.0))
    assert shrunk is not None
    middle = picture().card_middle
    ratio = plane_of(shrunk, 1.0).mm_per_px(*middle) / plane_of(found(), 1.0).mm_per_px(*middle)
    assert ratio == pytest.approx(0.96)


def test_the_plane_of_the_full_size_maps_pixel_centres() -> None:
    """Raster pixel i covers full-size pixels 4 i to 4 i + 3, whose middle is 4 i + 1.5."""
    find = found()
    full = plane_of(find, 4.0).to_mm @ (4 * 100 + 1.5, 4 * 50 + 1.5, 1.0)
    raster = find.to_mm @ (100.0, 50.0, 1.0)
    assert full[:2] / full[2] == pytest.approx(raster[:2] / raster[2])


def test_two_corners_alone_are_doubtful() -> None:
    rgb = picture().rgb.copy()
    for index in (0, 1):
        mm = design.marker_corners()[design.IDS[index]]
        cv2.fillPoly(rgb, [np.rint(picture().to_px(mm)).astype(np.int32)], (90, 80, 70))
    find = find_card(rgb, CardSettings())
    assert find is not None
    assert find.doubt == "2 of 4 corner markers seen, 3 needed"


def test_a_card_bent_round_a_pipe_is_doubtful() -> None:
    """Radius 80 mm, seen from straight above: x on the paper shows at 80 sin(x / 80)."""
    flat = picture(replace(PLAIN, tilt=0, turn=0, share=0.5))
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]].astype(np.float32)
    middle, radius = SIZE[0] / 2, 80 * 0.5 * SIZE[0] / design.WIDTH
    unrolled = radius * np.arcsin(np.clip((x - middle) / radius, -1, 1))
    find = find_card(cv2.remap(flat.rgb, unrolled + middle, y, cv2.INTER_LINEAR), CardSettings())
    assert find is not None
    assert "off those of a flat card" in find.doubt


def test_white_balance_undoes_tinted_light_under_a_shadow() -> None:
    light = (1.0, 0.85, 0.7)
    gains = found(replace(PLAIN, light=light, shadow=0.4)).gains
    assert gains == pytest.approx(np.array([0.85 / 1.0, 1.0, 0.85 / 0.7]), rel=0.04)


def test_a_sure_card_gives_the_plane_and_no_flag() -> None:
    scaled, flags, _ = with_scale(photo(picture().rgb), Settings())
    assert scaled.plane is not None
    assert (scaled.plane.source, flags) == ("card", ())


def test_no_card_and_nothing_stated_is_flagged() -> None:
    scaled, flags, find = with_scale(photo(np.full((480, 640, 3), 128, np.uint8)), Settings())
    assert (scaled.plane, find, [f.code for f in flags]) == (None, None, ["no_scale"])


def test_a_doubtful_card_gives_a_flag_and_no_number() -> None:
    settings = Settings(card=CardSettings(least_markers=4))
    scaled, flags, _ = with_scale(photo(picture(replace(PLAIN, covered=2)).rgb), settings)
    assert (scaled.plane, [f.code for f in flags]) == (None, ["doubtful_scale"])


def test_a_stated_scale_stands_in_for_a_doubtful_card() -> None:
    settings = Settings(card=CardSettings(least_markers=4))
    scaled, flags, _ = with_scale(photo(picture(replace(PLAIN, covered=2)).rgb), settings, 0.25)
    assert scaled.plane is not None
    assert scaled.plane.mm_per_px(10.0, 10.0) == pytest.approx(0.25)
    assert [f.code for f in flags] == ["doubtful_scale"]


@pytest.mark.parametrize(("factor", "source", "codes"), [(1.02, "card", []), (1.2, "stated", ["stated_scale_differs"])])
def test_a_stated_scale_that_differs_is_used_and_flagged(factor: float, source: str, codes: list[str]) -> None:
    middle = ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2)
    stated = factor * plane_of(found(), 1.0).mm_per_px(*middle)
    scaled, flags, _ = with_scale(photo(picture().rgb), Settings(), stated)
    assert scaled.plane is not None
    assert (scaled.plane.source, [f.code for f in flags]) == (source, codes)


def test_a_stated_scale_is_per_full_size_pixel() -> None:
    scaled, _, _ = with_scale(photo(np.full((480, 640, 3), 128, np.uint8), reduction=3), Settings(), 0.1)
    assert scaled.plane is not None
    assert scaled.plane.mm_per_px(1000.0, 700.0) == pytest.approx(0.1)


@pytest.mark.parametrize("stated", [0.0, -0.1, float("nan"), float("inf")])
def test_a_stated_scale_that_is_no_length_is_refused(stated: float) -> None:
    with pytest.raises(WrongUse, match="no positive number"):
        with_scale(photo(picture().rgb), Settings(), stated)


@pytest.mark.parametrize("size", [(1, 1), (3, 200), (40, 40)])
def test_tiny_pictures_are_no_trouble(size: tuple[int, int]) -> None:
    assert find_card(np.zeros((*size, 3), np.uint8), CardSettings()) is None
