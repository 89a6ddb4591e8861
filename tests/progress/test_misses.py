"""What was left on a spot, and where."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.progress.misses import Answer, Miss, Place, miss_of
from prepcheck.record import PersonRecord, SpotRecord
from prepcheck.settings import ProgressSettings
from prepcheck.terms import State
from tests.progress.made import LEFT, RING, answer, ground, joint, patch

USUAL = ProgressSettings()
MIDDLE = (50.0, 40.0)
WIDTH = math.sqrt(80 * 60)
"""Side of the square of the area of the box around `RING`."""


def miss(spot: SpotRecord, outline: int | None = 1, **more: object) -> Miss | None:
    """Tell what was left by the whole record, and hold that the part of it that is read of many tells the same."""
    record = answer(spot, **more)  # type: ignore[arg-type]
    told = miss_of(record, outline, USUAL)
    assert miss_of(Answer.model_validate_json(record.model_dump_json()), outline, USUAL) == told
    return told


@pytest.mark.parametrize("state", [State.OXIDE, State.PIT, State.COATING, State.FOREIGN])
def test_the_state_is_that_of_the_largest_patch(state: State) -> None:
    found = miss(ground(patch(MIDDLE, state.key)))
    assert found is not None
    assert (found.state, found.place) == (state, Place.MIDDLE)


def test_without_a_patch_the_largest_share_tells_the_state_and_the_place_is_spread() -> None:
    spot = ground(shares={"bright": 0.8, "oxide": 0.05, "coating": 0.15, "cannot_tell": 0.0})
    assert miss(spot) == Miss(State.COATING, Place.SPREAD)


def test_without_any_residue_nothing_was_left() -> None:
    assert miss(ground(shares={"bright": 0.5, "cannot_tell": 0.5})) is None


@pytest.mark.parametrize("outline", [None, 7])
def test_an_answer_without_that_spot_tells_nothing(outline: int | None) -> None:
    assert miss(ground(patch(MIDDLE)), outline) is None


def test_without_a_scale_the_rim_is_a_share_of_the_width() -> None:
    reach = 0.1 * WIDTH + 64 / 8 / 2
    near, far = ground(patch((10 + reach - 0.2, 40))), ground(patch((10 + reach + 0.2, 40)))
    assert [found.place for spot in (near, far) if (found := miss(spot))] == [Place.RIM, Place.MIDDLE]


def test_with_a_scale_the_rim_is_so_many_millimetres() -> None:
    reach = 5 / 0.5 + 64 / 8 / 2
    near, far = (ground(patch((10 + reach + d, 40)), mm_per_px=0.5) for d in (-0.2, 0.2))
    assert [found.place for spot in (near, far) if (found := miss(spot))] == [Place.RIM, Place.MIDDLE]


def test_a_patch_outside_the_outline_lies_at_the_rim() -> None:
    found = miss(ground(patch((0.0, 0.0))))
    assert found is not None
    assert found.place is Place.RIM


@given(st.floats(0, 100), st.floats(0, 80))
def test_the_distance_from_the_rim_is_that_to_the_nearest_side(x: float, y: float) -> None:
    nearest = min(x - 10, 90 - x, y - 10, 70 - y)
    reach = 0.1 * WIDTH + 4
    if abs(nearest - reach) > 0.01:
        found = miss(ground(patch((x, y))))
        assert found is not None
        assert (found.place is Place.RIM) == (nearest < reach)


def test_near_the_joint_line_counts_before_the_rim() -> None:
    spot = ground(patch((14.0, 40.0)))
    found = miss(spot, seam=joint([(0.0, 42.0), (100.0, 42.0)]))
    assert found is not None
    assert (found.place, found.side) == (Place.JOINT, "left")


def test_a_patch_that_touches_the_line_lies_along_it_wherever_its_middle_is() -> None:
    far = patch((80.0, 20.0))
    found = miss(ground(far), seam=joint([(0.0, 66.0), (100.0, 66.0)], [far]))
    assert found is not None
    assert (found.place, found.side) == (Place.JOINT, "")


def test_away_from_a_joint_line_the_rim_still_counts() -> None:
    found = miss(ground(patch((88.0, 20.0))), seam=joint([(30.0, 10.0), (30.0, 70.0)]))
    assert found is not None
    assert found.place is Place.RIM


def test_what_a_person_outlined_counts_before_the_tools_own() -> None:
    own = ground(patch(MIDDLE, "pit"))
    person = PersonRecord(spots=[own], standing=LEFT, bright_share=0.9, interval=(0.8, 0.95))
    found = miss(ground(patch(MIDDLE, "oxide")), by_person=person)
    assert found is not None
    assert found.state is State.PIT


def test_how_large_it_is_is_told_as_a_share_of_the_width() -> None:
    found = miss(ground(patch(MIDDLE, length=20, length_mm=3.0), mm_per_px=0.15))
    assert found is not None
    assert (found.share, found.length_mm) == (pytest.approx(20 / WIDTH), 3.0)


def test_an_outline_without_points_breaks_nothing() -> None:
    found = miss(ground(patch(MIDDLE), outline=[]))
    assert found is not None
    assert found.place is Place.RIM


def test_the_ring_of_these_tests_is_as_wide_as_they_say() -> None:
    assert (RING[2][0] - RING[0][0], RING[2][1] - RING[0][1]) == (80, 60)
