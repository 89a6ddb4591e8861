"""What is drawn over the photo."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from prepcheck.record import PersonRecord, Record
from prepcheck.report.marks import draw_marks
from prepcheck.report.view import INK, SIGNAL, View
from prepcheck.terms import RESIDUE, Standing, State
from tests.report.made import grey, joint_at, patch_at, record_of, ring, spot_of, twenty

UNIT = 1280 / 390
VIEW = View(0, 0, 1280, 960, (1.0, 1.0), UNIT)
PLATE = 40 * UNIT
"""Furthest reach of a spot's number from its outline: the width of its plate."""


def marked(record: Record, states: np.ndarray | None = None, view: View = VIEW) -> np.ndarray:
    mat = grey()
    draw_marks(mat, view, record, states)
    return mat


def changed(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.any(one != other, axis=2)


def inside(record: Record, grow: float = 0.0) -> np.ndarray:
    mask = np.zeros((960, 1280), np.uint8)
    for spot in record.spots:
        cv2.fillPoly(mask, [np.rint(spot.outline).astype(np.int32)], 1)
    size = 2 * round(grow) + 1
    return cv2.dilate(mask, np.ones((size, size), np.uint8)).astype(bool)


def one_spot(standing: Standing = Standing.RESIDUE_LEFT, **changes: object) -> Record:
    return record_of([spot_of(1, ring(500, 450, 200), standing, **changes)], standing)


def all_oxide() -> np.ndarray:
    return np.full((240, 320), State.OXIDE, np.uint8)


def numbered(last: int | None = None) -> np.ndarray:
    """Draw 20 spots that all have the number 55, but the spot at `last`, which has 88."""
    spots = [spot.model_copy(update={"number": 88 if i == last else 55}) for i, spot in enumerate(twenty().spots)]
    return marked(twenty().model_copy(update={"spots": spots}))


@pytest.fixture(scope="module")
def numbers() -> list[np.ndarray]:
    """Return for each of 20 spots the pixels in which the number 88 differs from 55."""
    base = numbered()
    return [changed(base, numbered(i)) for i in range(20)]


def test_each_of_twenty_spots_has_its_number_beside_it(numbers: list[np.ndarray]) -> None:
    for place, spot in zip(numbers, twenty().spots, strict=True):
        assert place.any()
        assert not np.any(place & ~inside(record_of([spot], spot.standing), grow=PLATE))


def test_none_of_twenty_numbers_is_covered_by_another(numbers: list[np.ndarray]) -> None:
    sizes = [place.sum() for place in numbers]
    assert min(sizes) > 0.8 * max(sizes)


def test_numbers_of_spots_with_the_same_outline_do_not_cover_one_another() -> None:
    spots = [spot_of(number, ring(500, 450, 200), Standing.BRIGHT) for number in (55, 55)]
    base = marked(record_of(spots, Standing.BRIGHT))
    sizes = []
    for i in (0, 1):
        other = [spot.model_copy(update={"number": 88}) if i == k else spot for k, spot in enumerate(spots)]
        sizes.append(changed(base, marked(record_of(other, Standing.BRIGHT))).sum())
    assert min(sizes) > 0.8 * max(sizes) > 0


def test_without_patches_and_states_only_outlines_and_numbers_are_drawn() -> None:
    record = one_spot()
    drawn = changed(marked(record), grey())
    edge = inside(record, grow=8) ^ inside(
        record_of([spot_of(1, ring(500, 450, 190), Standing.BRIGHT)], Standing.BRIGHT)
    )
    ys, xs = np.nonzero(drawn & ~edge)
    assert np.ptp(ys) < 26 * UNIT
    assert np.ptp(xs) < 40 * UNIT


def test_hatches_reach_no_further_than_the_strokes_of_the_outlines() -> None:
    record = one_spot()
    hatched = changed(marked(record, all_oxide()), marked(record))
    assert hatched.any()
    assert not np.any(hatched & ~inside(record, grow=1.8 * UNIT))


def test_background_and_bright_metal_are_not_hatched() -> None:
    states = np.full((240, 320), State.BRIGHT, np.uint8)
    states[:120] = State.BACKGROUND
    assert np.array_equal(marked(one_spot(), states), marked(one_spot()))


def test_a_spot_of_a_photo_to_retake_is_neither_hatched_nor_pointed_at() -> None:
    record = one_spot(Standing.RETAKE, largest_patch=patch_at(520, 460))
    assert np.array_equal(marked(record, all_oxide()), marked(one_spot(Standing.RETAKE)))


def test_a_persons_spot_is_hatched_when_the_tool_says_retake() -> None:
    spot = spot_of(2, ring(500, 450, 200), Standing.RESIDUE_LEFT, outlined_by="person")
    person = PersonRecord(spots=[spot], standing=Standing.RESIDUE_LEFT, bright_share=0.7, interval=(0.6, 0.8))
    record = record_of([], Standing.RETAKE, by_person=person)
    assert draw_marks(grey(), VIEW, record, all_oxide()) == {State.OXIDE}


@pytest.mark.parametrize("state", RESIDUE)
@pytest.mark.parametrize("level", [20, 240])
def test_a_place_smaller_than_the_pattern_shows(state: State, level: int) -> None:
    states = np.full((960, 1280), State.BRIGHT, np.uint8)
    states[448:452, 498:502] = state
    mats = [grey(level=level), grey(level=level)]
    draw_marks(mats[0], VIEW, one_spot(), states)
    draw_marks(mats[1], VIEW, one_spot(), None)
    greys = [cv2.cvtColor(mat, cv2.COLOR_RGB2GRAY).astype(int) for mat in mats]
    assert np.sum(np.abs(greys[0] - greys[1]) > 60) > UNIT**2


def test_the_hatched_states_are_returned_for_the_legend() -> None:
    states = all_oxide()
    states[:, 100:130] = State.CANNOT_TELL
    states[:5] = State.PIT  # outside the spot
    assert draw_marks(grey(), VIEW, one_spot(), states) == {State.OXIDE, State.CANNOT_TELL}


def test_the_arrow_ends_at_the_patch_that_is_longest() -> None:
    states = np.full((960, 1280), State.BRIGHT, np.uint8)
    cv2.circle(states, (560, 500), 25, int(State.OXIDE), -1)
    pointing = marked(one_spot(largest_patch=patch_at(560, 500, px=50)), states)
    ys, xs = np.nonzero(changed(pointing, marked(one_spot(), states)) & np.all(pointing == SIGNAL, axis=2))
    assert np.hypot(xs - 560, ys - 500).min() == pytest.approx(25, abs=2 * UNIT)


def test_the_label_of_the_patch_lies_off_the_spot_when_there_is_room() -> None:
    record = record_of([spot_of(1, ring(500, 450, 90), Standing.RESIDUE_LEFT)], Standing.RESIDUE_LEFT)
    spot = record.spots[0].model_copy(update={"largest_patch": patch_at(520, 460)})
    pointing = record.model_copy(update={"spots": [spot]})
    drawn = changed(marked(pointing), marked(record)) & ~inside(record, grow=6)
    assert drawn.sum() > 0.95 * (24 * UNIT) ** 2  # the plate is 24 units high and wider than that


def test_a_spot_outlined_by_a_person_is_dashed_and_the_tools_is_not() -> None:
    solid, dashed = ring(350, 480, 200, 400), ring(900, 480, 200, 400)
    spots = [spot_of(2, dashed, Standing.BRIGHT, outlined_by="person")]
    person = PersonRecord(spots=spots, standing=Standing.BRIGHT, bright_share=0.9, interval=(0.8, 1.0))
    record = record_of([spot_of(1, solid, Standing.BRIGHT)], Standing.BRIGHT, by_person=person)
    drawn = np.all(marked(record) == INK, axis=2)
    share = [np.mean([drawn[round(y), round(x)] for x, y in outline]) for outline in (solid, dashed)]
    assert share[0] > 0.85
    assert 0.3 < share[1] < 0.75


def test_a_refused_spot_is_struck_out() -> None:
    person = PersonRecord(refused={1: "bead"}, standing=Standing.BRIGHT, bright_share=None, interval=None)
    refused = one_spot().model_copy(update={"by_person": person})
    assert changed(marked(refused), marked(one_spot())).any()


def test_standings_of_spots_are_told_apart_in_grey() -> None:
    grades = []
    for standing in (Standing.BRIGHT, Standing.RESIDUE_LEFT, Standing.CANNOT_TELL):
        grades.append(cv2.cvtColor(marked(one_spot(standing)), cv2.COLOR_RGB2GRAY).astype(int))
    for one, other in ((0, 1), (0, 2), (1, 2)):
        assert np.sum(np.abs(grades[one] - grades[other]) > 40) > 50


@pytest.mark.parametrize("outline", [[], [(5.0, 5.0)], [(1e9, 1e9), (-1e9, 5.0), (3.0, 1e9)], [(-9.0, -9.0)] * 4])
def test_an_outline_that_is_none_does_not_break_the_drawing(outline: list[tuple[float, float]]) -> None:
    spot = spot_of(1, outline, Standing.RESIDUE_LEFT, largest_patch=patch_at(1e9, -1e9))
    assert marked(record_of([spot], Standing.RESIDUE_LEFT), all_oxide()).shape == (960, 1280, 3)


def test_places_go_through_pixel_centres() -> None:
    view = View(10, 20, 500, 400, (0.25, 0.25), UNIT)
    assert view.place([(1.5, 1.5)])[0] == pytest.approx([10.0, 20.0])  # middle of the first 4 x 4 pixels


def test_the_joint_line_is_drawn_from_end_to_end() -> None:
    record = record_of([], Standing.RETAKE)
    drawn = changed(grey(), marked(record.model_copy(update={"joint": joint_at(480, margin_mm=None)})))
    assert drawn[480, 300:901].all()
    assert not drawn[:, :280].any()


def test_the_edges_of_the_margin_are_drawn_on_both_sides() -> None:
    record = record_of([], Standing.RETAKE)
    drawn = changed(grey(), marked(record.model_copy(update={"joint": joint_at(480)})))
    assert drawn[[230, 730], 300:901].all()
