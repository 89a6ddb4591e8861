"""What a person may write for a point."""

from __future__ import annotations

import pytest

from prepcheck.agreement.labels import counts_for, parse_label
from prepcheck.terms import State


@pytest.mark.parametrize("state", State)
def test_a_state_is_named_by_number_key_or_label(state: State) -> None:
    for text in (str(int(state)), state.key, state.label, state.label.upper(), f"  {state.key.replace('_', '  ')} "):
        assert parse_label(text) == (state,)


@pytest.mark.parametrize("text", ["9", "?", "255", "6", "cannot tell"])
def test_unsure_and_weld_bead_are_no_answer(text: str) -> None:
    assert parse_label(text) == (State.CANNOT_TELL,)


@pytest.mark.parametrize("text", ["1/2", "1+2", " 1 + 2 ", "bright/oxide", "1/residual oxide"])
def test_a_point_on_a_boundary_names_both_states(text: str) -> None:
    assert parse_label(text) == (State.BRIGHT, State.OXIDE)


def test_a_boundary_of_one_state_with_itself_is_that_state() -> None:
    assert parse_label("3/3") == (State.PIT,)


@pytest.mark.parametrize("text", ["", "7", "-1", "1+", "1/2/3", "01-Feb", "1.0", "shiny", "1 2", "²", "1" * 5000])
def test_anything_else_is_refused_in_few_words(text: str) -> None:
    with pytest.raises(ValueError, match="is no label") as refused:
        parse_label(text)
    assert len(str(refused.value)) < 60


def test_a_boundary_counts_one_half_for_each_side() -> None:
    # ASTM E562-01 section 3.2.1 (seen).
    label = parse_label("1+2")
    assert [counts_for(label, state) for state in (State.BRIGHT, State.OXIDE, State.PIT)] == [0.5, 0.5, 0]


def test_a_plain_point_counts_one_for_its_state_alone() -> None:
    assert [counts_for(parse_label("2"), state) for state in State] == [0, 0, 1, 0, 0, 0, 0]
