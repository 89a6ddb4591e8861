"""How often the tool was wrong at counted points, both ways."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from prepcheck.agreement.acceptance import Acceptance, accept
from prepcheck.agreement.compare import TOOL, side_by_side
from prepcheck.agreement.proportion import Proportion
from prepcheck.terms import State
from tests.agreement.forms import counted

CODES = st.sampled_from(["0", "1", "2", "3", "4", "5", "9"])


def held(*photos: tuple[str, str]) -> Acceptance:
    """Hold the tool's labels, the second of each photo, against the person's."""
    names = "abcdefgh"
    person = [counted(labels, photo=name) for name, (labels, _) in zip(names, photos, strict=False)]
    tool = [counted(labels, TOOL, photo=name) for name, (_, labels) in zip(names, photos, strict=False)]
    return accept(side_by_side(("Ola", TOOL), [person, tool]))


def said(one: Proportion) -> tuple[int, int]:
    return one.hits, one.of


def test_residue_called_bright_is_counted_over_the_residue_told() -> None:
    assert said(held(("2 3 4 5 2 1", "1 1 4 1 9 1")).wrongly_bright) == (3, 4)


def test_bright_metal_called_anything_else_is_counted_over_the_bright_told() -> None:
    assert said(held(("1 1 1 1 1 2", "1 2 0 4 9 2")).wrongly_residue) == (3, 4)


def test_residue_counts_as_found_by_whatever_residue_it_is_called() -> None:
    assert said(held(("2 3 5 2 4 1", "3 4 2 1 1 1")).residue_found) == (3, 4)


def test_points_the_tool_does_not_tell_stand_beside_as_coverage() -> None:
    made = held(("1 2 3 0 9 1", "9 9 3 9 9 1"))
    assert said(made.coverage) == (2, 4)
    assert said(made.wrongly_bright) == (0, 1)


def test_points_the_person_could_not_tell_are_no_errors() -> None:
    made = held(("9 9 0 0", "1 2 1 2"))
    assert [said(one) for one in (made.wrongly_bright, made.wrongly_residue, made.coverage)] == [(0, 0)] * 3
    assert made.by_state == ()


def test_photos_with_such_a_point_are_counted_over_those_that_could_have_one() -> None:
    made = held(("2 2 2", "1 1 1"), ("2 1 1", "2 2 1"), ("1 1 1", "1 1 1"))
    assert said(made.photos_wrongly_bright) == (1, 2)
    assert said(made.photos_wrongly_residue) == (1, 2)
    assert made.photos == 3


def test_each_state_has_its_own_line() -> None:
    bright, oxide, coating = held(("1 1 2 2 2 4 4 4", "1 3 2 3 1 4 0 1")).by_state
    assert (bright.state, said(bright.same), said(bright.wrong)) == (State.BRIGHT, (1, 2), (1, 2))
    assert (oxide.state, said(oxide.same), said(oxide.wrong)) == (State.OXIDE, (1, 3), (1, 3))
    assert (coating.state, said(coating.same), said(coating.wrong)) == (State.COATING, (2, 3), (1, 3))


def test_points_on_a_boundary_are_left_out_and_told() -> None:
    made = held(("1+2 1 2", "1 1 2"))
    assert (made.points, made.boundary) == (2, 1)


def test_intervals_are_exact_and_never_close_on_few_points() -> None:
    # 0 of 30: 0 to 0.115703, R binom.confint as carried in the tests of statsmodels (seen).
    labels = " ".join(["2"] * 30)
    found = held((labels, labels)).wrongly_bright
    assert round(found.high, 6) == 0.115703


def test_person_and_tool_are_compared_as_two_people_are() -> None:
    agreement = held(("1 2 1 2", "1 2 1 1")).agreement
    assert agreement.who == ("Ola", TOOL)
    assert agreement.agreements[0].kappa.value == 0.5  # 3 of 4 equal, chance one half (computed)


@given(st.lists(st.tuples(CODES, CODES), min_size=1, max_size=60))
def test_no_share_exceeds_what_it_is_of_and_the_states_add_up(points: list[tuple[str, str]]) -> None:
    made = held((" ".join(first for first, _ in points), " ".join(second for _, second in points)))
    residue = [one for one in made.by_state if one.state is not State.BRIGHT]
    assert sum(one.wrong.hits for one in residue) == made.wrongly_bright.hits
    assert sum(one.wrong.of for one in residue) == made.wrongly_bright.of
    assert sum(one.coverage.of for one in made.by_state) == made.coverage.of
    assert all(one.same.hits + one.wrong.hits <= one.same.of for one in made.by_state)


@given(st.lists(CODES, min_size=1, max_size=60))
def test_a_tool_that_says_the_same_is_never_wrong(labels: list[str]) -> None:
    made = held((" ".join(labels), " ".join(labels)))
    assert made.wrongly_bright.hits == made.wrongly_residue.hits == 0
    assert made.residue_found.hits == made.residue_found.of
