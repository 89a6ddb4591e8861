"""The history of a spot as a picture."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import ImageDraw

from prepcheck.errors import WrongUse
from prepcheck.report.hatch import HATCHES
from prepcheck.report.history import MOST_PASSES, draw_history
from prepcheck.report.history_chart import Mark, chart
from prepcheck.report.pass_picture import PassPicture
from prepcheck.report.view import SIGNAL
from prepcheck.terms import Standing, State

SIZE = (800, 600)
WORDS = "5 mm², seen since pass 1 in 2 passes"


def box(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float)


def one(pass_no: int = 1, share: float | None = 0.7, **changes: object) -> PassPicture:
    """Make a grey pass with a square spot and an oxide patch in it."""
    states = np.full((300, 400), State.COATING, np.uint8)
    states[100:200, 150:250] = State.BRIGHT
    states[130:150, 190:210] = State.OXIDE
    interval = None if share is None else (max(share - 0.1, 0.0), min(share + 0.1, 1.0))
    made = PassPicture(
        pass_no,
        np.full((600, 800, 3), 150, np.uint8),
        states,
        SIZE,
        np.eye(3),
        box(300, 200, 500, 400),
        Standing.RESIDUE_LEFT,
        share,
        interval,
    )
    return replace(made, **changes)


def pixels(picture: np.ndarray, colour: tuple[int, int, int]) -> int:
    return int(np.all(picture == colour, axis=2).sum())


def tiles(picture: np.ndarray) -> list[np.ndarray]:
    """Cut the two tiles out of a picture for a phone: the first row of the even grey of the photos is their top."""
    side = (720 - 3 * 16) // 2
    top = int(np.flatnonzero(np.all(picture[:, 20] == 150, axis=1))[0])
    return [picture[top : top + side, x : x + side] for x in (16, 16 + side + 16)]


@pytest.mark.parametrize(("wide", "width"), [(False, 720), (True, 1560)])
def test_the_picture_fits_a_phone_and_a_sheet(wide: bool, width: int) -> None:
    assert draw_history([one(1), one(2)], wide=wide).shape[1] == width


def test_no_letter_is_smaller_than_12_pixels_on_a_phone_360_wide(monkeypatch: pytest.MonkeyPatch) -> None:
    sizes: dict[str, float] = {}
    plain = ImageDraw.ImageDraw.text

    def text(self: ImageDraw.ImageDraw, xy: tuple[float, float], said: str, *rest: object, **more: Any) -> None:
        sizes[said] = more["font"].size
        plain(self, xy, said, *rest, **more)

    monkeypatch.setattr(ImageDraw.ImageDraw, "text", text)
    passes = [one(k, 1.0, standing=Standing.CANNOT_TELL, when="2026-11-28") for k in range(1, MOST_PASSES + 1)]
    own = replace(passes[-1], to_latest=None)
    picture = draw_history([*passes[1:-1], own, passes[-1]], persisting=[(box(380, 260, 420, 300), WORDS)])
    assert min(size for said, size in sizes.items() if said.strip()) * 360 / picture.shape[1] >= 12


def test_a_history_without_passes_is_refused() -> None:
    with pytest.raises(WrongUse, match="without passes"):
        draw_history([])


def test_residue_is_hatched_in_its_own_colour() -> None:
    ink = HATCHES[State.OXIDE].ink
    with_oxide = pixels(draw_history([one()]), ink)
    assert with_oxide > 200
    clean = np.where(one().states == State.OXIDE, State.BRIGHT, one().states).astype(np.uint8)
    assert pixels(draw_history([one(states=clean)]), ink) == 0


def test_what_lies_outside_the_outline_is_not_hatched() -> None:
    states = one().states.copy()
    states[20:60, 20:60] = State.PIT
    picture = draw_history([one(states=states, outline=box(300, 200, 500, 400))])
    np.testing.assert_array_equal(picture, draw_history([one()]))


def test_a_photo_to_retake_is_not_hatched() -> None:
    assert pixels(draw_history([one(standing=Standing.RETAKE)]), HATCHES[State.OXIDE].ink) == 0


def test_passes_lie_in_one_frame() -> None:
    shift = np.array([[1, 0, 60], [0, 1, -40], [0, 0, 1.0]])
    rgb = np.full((600, 800, 3), 150, np.uint8)
    cv2.circle(rgb, (380, 320), 20, (0, 200, 0), -1)
    moved = cv2.warpPerspective(rgb, np.linalg.inv(shift), SIZE, borderValue=(150, 150, 150))
    first = one(1, rgb=moved, states=None, to_latest=shift, outline=box(240, 240, 440, 440))
    left, right = tiles(draw_history([first, one(2, rgb=rgb, states=None)]))
    places = [
        np.argwhere(np.all(np.abs(tile.astype(int) - (0, 200, 0)) < 30, axis=2)).mean(axis=0) for tile in (left, right)
    ]
    assert places[0] == pytest.approx(places[1], abs=1.0)


def test_a_pass_that_is_not_aligned_is_shown_in_its_own_frame() -> None:
    rgb = one().rgb.copy()
    cv2.circle(rgb, (150, 150), 20, (0, 200, 0), -1)
    own = one(1, rgb=rgb, states=None, to_latest=None, outline=box(100, 100, 200, 200))
    left, _ = tiles(draw_history([own, one(2, states=None)]))
    middle = np.argwhere(np.all(np.abs(left.astype(int) - (0, 200, 0)) < 30, axis=2)).mean(axis=0)
    assert middle == pytest.approx(np.array([left.shape[0] / 2] * 2), abs=2)


def test_the_caption_says_which_pass_is_not_aligned() -> None:
    laid, own = (draw_history([one(1, to_latest=way), one(2)]) for way in (np.eye(3), None))
    np.testing.assert_array_equal(*(np.stack(tiles(picture)) for picture in (laid, own)))  # its frame is the same here
    assert not np.array_equal(laid, own)


def test_persisting_residue_is_ringed_in_the_latest_pass_only() -> None:
    ring = box(380, 260, 420, 300)
    left, right = tiles(draw_history([one(1, states=None), one(2, states=None)], persisting=[(ring, WORDS)]))
    assert pixels(left, SIGNAL) == 0
    assert pixels(right, SIGNAL) > 100


def test_a_ring_leaves_small_residue_in_sight() -> None:
    ring = box(380, 260, 420, 300)
    plain, told = (tiles(draw_history([one(1), one(2)], persisting=of))[1] for of in ([], [(ring, WORDS)]))
    ink = HATCHES[State.OXIDE].ink
    assert pixels(told, ink) == pixels(plain, ink) > 0


def test_persisting_residue_brings_its_advice() -> None:
    plain = draw_history([one(1), one(2)])
    told = draw_history([one(1), one(2)], persisting=[(box(380, 260, 420, 300), WORDS)])
    assert told.shape[0] > plain.shape[0] + 100


def test_many_persisting_patches_do_not_flood_the_picture() -> None:
    ring = (box(380, 260, 420, 300), WORDS)
    few, many = (draw_history([one(1), one(2)], persisting=[ring] * n) for n in (7, 400))
    assert many.shape == few.shape


def test_a_large_photo_is_reduced_by_areas() -> None:
    stripes = np.zeros((3000, 4000, 3), np.uint8)
    stripes[:, ::2] = 255
    whole = one(1, rgb=stripes, states=None, size=(4000, 3000), outline=box(200, 200, 3800, 2800))
    grey, striped = draw_history([one(states=None)]), draw_history([whole])
    top = int(np.flatnonzero(np.all(grey[:, 20] == 150, axis=1))[0])
    middle = striped[top + 120 : top + 240, 120:240].astype(int)
    assert np.ptp(middle) < 60


def test_the_oldest_of_very_many_passes_are_left_out() -> None:
    most = draw_history([one(k) for k in range(1, MOST_PASSES + 1)])
    more = draw_history([one(k) for k in range(1, MOST_PASSES + 30)])
    assert 0 < more.shape[0] - most.shape[0] < 60


def marks(*passes: PassPicture) -> list[Mark]:
    return chart(passes, 360.0)[1]


def strokes(*passes: PassPicture) -> list[Mark]:
    return [mark for mark in marks(*passes) if not mark.text]


def dots(*passes: PassPicture) -> list[tuple[float, float]]:
    """Return the middles of the chart's dots: strokes of no length."""
    return [mark.points[0] for mark in strokes(*passes) if mark.points[0] == mark.points[-1]]


def bars(*passes: PassPicture) -> list[tuple[float, float]]:
    """Return the ends of the chart's upright strokes."""
    ends = [(*mark.points[0], *mark.points[-1]) for mark in strokes(*passes)]
    return [(y, to_y) for x, y, to_x, to_y in ends if x == to_x and y != to_y]


def lines(*passes: PassPicture) -> int:
    """Return how many lines lead from dot to dot."""
    return sum(mark.thick == 1.2 for mark in strokes(*passes))


def said(*passes: PassPicture) -> set[str]:
    return {mark.text for mark in marks(*passes)}


def test_a_dot_lies_at_its_share() -> None:
    (full, half, nothing) = dots(one(1, 1.0), one(2, 0.5), one(3, 0.0))
    assert half[1] == pytest.approx((full[1] + nothing[1]) / 2, abs=0.1)
    assert full[1] < half[1] < nothing[1]
    assert half[0] - full[0] == pytest.approx(nothing[0] - half[0], abs=0.15)


def test_the_bar_spans_the_interval() -> None:
    spread = one(1, 1.0, interval=(0.0, 1.0)), one(2, 0.5, interval=(0.25, 0.75))
    (low, high), (quarter, three) = bars(*spread)
    assert (low - high) / 2 == pytest.approx(quarter - three, abs=0.15)


def test_a_pass_that_told_nothing_has_a_question_mark_and_no_line_through_it() -> None:
    told, broken = (one(1), one(2), one(3)), (one(1), one(2, None), one(3))
    assert "?" in said(*broken)
    assert "?" not in said(*told)
    assert len(dots(*broken)) == 2
    assert (lines(*told), lines(*broken)) == (2, 0)


def test_a_photo_to_retake_has_no_dot() -> None:
    assert len(dots(one(1), one(2, standing=Standing.RETAKE))) == 1


def test_the_scale_of_the_chart_starts_at_zero() -> None:
    assert {"0", "25", "50", "75", "100"} <= said(one(1, 0.9), one(2, 0.95))
