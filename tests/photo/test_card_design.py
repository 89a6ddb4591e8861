"""The card's geometry, codes and grey steps."""

from __future__ import annotations

from itertools import combinations

import cv2
import numpy as np
import pytest

from prepcheck.photo import card_design as design
from prepcheck.photo.card_image import card_image


def turned_codes(index: int) -> list[np.ndarray]:
    code = design.dictionary().generateImageMarker(index, design.MODULES, borderBits=1)[1:-1, 1:-1] > 0
    return [np.rot90(code, k) for k in range(4)]


@pytest.mark.parametrize(("one", "other"), list(combinations(range(4), 2)))
def test_two_markers_differ_in_at_least_seven_bits_in_any_turn(one: int, other: int) -> None:
    start = turned_codes(one)[0]
    assert min(int((start != code).sum()) for code in turned_codes(other)) >= 7


@pytest.mark.parametrize("index", range(4))
def test_a_marker_differs_from_its_own_turns_in_at_least_seven_bits(index: int) -> None:
    start, *turns = turned_codes(index)
    assert min(int((start != code).sum()) for code in turns) >= 7


def test_opencv_reads_the_printed_markers_by_its_own_dictionary() -> None:
    whole = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100)
    page = np.pad(card_image(8.0), 40, constant_values=255)
    _, ids, _ = cv2.aruco.ArucoDetector(whole).detectMarkers(page)
    assert sorted(np.ravel(ids)) == sorted(design.IDS)


@pytest.mark.parametrize(("lightness", "grey"), list(zip(design.STEP_LIGHTNESS, design.STEP_GREYS, strict=True)))
def test_grey_steps_have_their_lightness(lightness: int, grey: int) -> None:
    """CIE 15 (L* above 8) and IEC 61966-2-1 (above the linear part), written out from the formulas."""
    luminance = ((lightness + 16) / 116) ** 3
    assert round(255 * (1.055 * luminance ** (1 / 2.4) - 0.055)) == grey


def test_everything_lies_on_the_card() -> None:
    assert all(
        b.x >= 0 and b.y >= 0 and b.x + b.width <= design.WIDTH and b.y + b.height <= design.HEIGHT
        for b in design.boxes()
    )


@pytest.mark.parametrize("px_per_mm", [3.0, 7.3, 20.0])
def test_the_drawn_ink_of_a_grey_step_has_its_exact_area(px_per_mm: float) -> None:
    step = design.grey_steps()[-1]
    image = card_image(px_per_mm).astype(float)
    x0, x1 = (round(v * px_per_mm) for v in (step.x - 0.2, step.x + step.width + 2))
    y0, y1 = (round(v * px_per_mm) for v in (step.y - 0.2, step.y + step.height + 0.8))
    ink = (255 - image[y0:y1, x0:x1]).sum() / (255 - step.grey) / px_per_mm**2
    assert ink == pytest.approx(step.width * step.height, rel=0.02)


def test_the_checking_line_is_100_mm_from_outer_end_to_outer_end() -> None:
    px_per_mm = 20.0
    row = card_image(px_per_mm)[round(37.0 * px_per_mm)]
    dark = np.flatnonzero(row < 128)
    assert (dark[-1] - dark[0] + 1) / px_per_mm == pytest.approx(100.0, abs=0.05)
