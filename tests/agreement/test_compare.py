"""People side by side: which points are compared, and what the comparisons are."""

from __future__ import annotations

import re

import numpy as np
import pytest

from prepcheck.agreement.compare import compare, confusion, pairs, repeat, reproduce, side_by_side
from prepcheck.errors import WrongUse
from prepcheck.terms import State
from tests.agreement.forms import counted


def two(first: str, second: str) -> object:
    return side_by_side(("Ola", "Mika"), [[counted(first)], [counted(second, "Mika")]])


def test_the_table_tells_who_said_what() -> None:
    table = confusion(two("1 1 2 9", "1 2 2 1"))  # type: ignore[arg-type]
    order = list(State)
    said = {(order[i], order[j]): int(n) for (i, j), n in np.ndenumerate(table) if n}
    assert said == {
        (State.BRIGHT, State.BRIGHT): 1,
        (State.BRIGHT, State.OXIDE): 1,
        (State.OXIDE, State.OXIDE): 1,
        (State.CANNOT_TELL, State.BRIGHT): 1,
    }


def test_points_that_somebody_put_on_a_boundary_are_left_out_and_counted() -> None:
    answers = two("1 1+2 2 3", "1 1 2+3 3")
    assert answers.codes.tolist() == [[1, 1], [3, 3]]  # type: ignore[attr-defined]
    assert answers.boundary == 2  # type: ignore[attr-defined]


def test_three_ways_of_looking_take_the_points_they_say() -> None:
    every, told, sides = compare(two("1 2 9 0 4 1", "1 1 2 4 0 3")).agreements  # type: ignore[arg-type]
    assert [(one.way, one.points, one.of) for one in (every, told, sides)] == [
        ("every answer", 6, 6),
        ("all could tell", 5, 6),
        ("bright or residue", 3, 6),
    ]
    assert every.kappa.observed == pytest.approx(1 / 6)
    assert told.kappa.observed == pytest.approx(3 / 5)  # not this work and coating are one answer
    assert sides.kappa.observed == pytest.approx(1 / 3)


def test_all_kinds_of_residue_are_one_side() -> None:
    sides = compare(two("2 3 4 5 1", "3 4 5 2 1")).agreements[2]  # type: ignore[arg-type]
    assert sides.kappa.observed == 1


def test_counts_of_other_points_are_never_compared() -> None:
    with pytest.raises(WrongUse, match=re.escape("does not hold the points of a.Ola.csv")):
        side_by_side(("Ola", "Mika"), [[counted("1 2")], [counted("1 2", "Mika", grid="h")]])


def test_people_are_compared_over_the_photos_that_all_of_them_counted() -> None:
    counts = [counted("1 2"), counted("1 1", photo="b"), counted("2 2", "Mika", photo="b"), counted("3 3", photo="c")]
    answers = reproduce(counts)
    assert answers is not None
    assert (answers.who, answers.codes.tolist()) == (("Ola", "Mika"), [[1, 2], [1, 2]])


@pytest.mark.parametrize("second", [counted("1 2", photo="b"), counted("1 2", "Mika", photo="b")])
def test_without_a_photo_in_common_there_is_nothing_to_compare(second: object) -> None:
    assert reproduce([counted("1 2"), second]) is None  # type: ignore[list-item]


def test_three_people_make_three_pairs_and_fleiss_kappa_over_all() -> None:
    answers = reproduce([counted("1 2 1"), counted("1 2 2", "Mika"), counted("2 2 1", "Rune")])
    assert answers is not None
    assert [one.who for one in pairs(answers)] == [("Ola", "Mika"), ("Ola", "Rune"), ("Mika", "Rune")]
    together = compare(answers)
    assert together.table is None
    assert together.agreements[0].kappa.method.startswith("Fleiss")
    assert together.agreements[0].kappa.observed == pytest.approx((1 / 3 + 1 + 1 / 3) / 3)


def test_the_same_person_twice_is_a_repeat() -> None:
    counts = [counted("1 2 1"), counted("1 1 1"), counted("1 1 1", "Mika"), counted("2 2 2", photo="b")]
    made = repeat(counts)
    assert list(made) == ["Ola"]
    assert made["Ola"].codes.tolist() == [[1, 1], [2, 1], [1, 1]]
    assert made["Ola"].who == ("Ola, first", "Ola, second")


def test_the_first_count_stands_for_a_person_beside_others() -> None:
    answers = reproduce([counted("1 2"), counted("2 1"), counted("1 1", "Mika")])
    assert answers is not None
    assert answers.codes[:, 0].tolist() == [1, 2]


def test_a_third_count_by_one_person_is_refused() -> None:
    with pytest.raises(WrongUse, match=re.escape("is the third count of a.jpg by Ola")):
        repeat([counted("1 2")] * 3)


def test_photos_keep_their_points_together() -> None:
    columns = [[counted("1 2", name, photo) for photo in "abc"] for name in ("Ola", "Mika")]
    answers = side_by_side(("Ola", "Mika"), columns)
    assert answers.photos.tolist() == [0, 0, 1, 1, 2, 2]
    assert compare(answers).photos == 3


def test_exchanging_people_leaves_their_kappa() -> None:
    first, second = (compare(two(*both)).agreements for both in (("1 2 3 1", "1 2 1 1"), ("1 2 1 1", "1 2 3 1")))  # type: ignore[arg-type]
    assert [one.kappa.value for one in first] == pytest.approx([one.kappa.value for one in second])


def test_only_points_on_boundaries_leave_nothing_to_compare() -> None:
    comparison = compare(two("1+2 2+3", "1 2"))  # type: ignore[arg-type]
    assert [(one.points, one.kappa.value) for one in comparison.agreements] == [(0, None)] * 3
    assert comparison.boundary == 2
