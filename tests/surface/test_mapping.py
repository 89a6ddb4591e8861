from __future__ import annotations

import numpy as np

from prepcheck.surface import showing
from prepcheck.surface.mapping import told
from prepcheck.terms import RESIDUE, State


def test_states_are_shown_where_they_are_and_nowhere_else():
    states = np.array([[0, 1, 2], [4, 5, 255]], np.uint8)
    assert np.array_equal(showing(states, RESIDUE), np.isin(states, RESIDUE))


def test_the_likeliest_side_is_told_and_of_residue_the_likeliest_kind():
    chances = np.array(
        [[0.9, 0.1, 0.1, 0.4], [0.1, 0.8, 0.1, 0.3], [0, 0, 0.3, 0.3], [0, 0, 0.4, 0], [0, 0, 0, 0], [0, 0.1, 0.1, 0], [0] * 4],
        np.float32,
    )  # fmt: skip
    states, bright = told(chances, np.zeros(4, bool), 0.6)
    assert states.tolist() == [State.BACKGROUND, State.BRIGHT, State.PIT, State.CANNOT_TELL]
    assert bright.tolist() == chances[State.BRIGHT].tolist()


def test_of_two_equal_sides_the_first_is_told():
    chances = np.zeros((7, 1), np.float32)
    chances[State.BACKGROUND] = chances[State.BRIGHT] = 0.5
    assert told(chances, np.zeros(1, bool), 0.5)[0].tolist() == [State.BACKGROUND]
