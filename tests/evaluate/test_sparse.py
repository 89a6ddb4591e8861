"""The measures of points and of outlined pits, counted by hand."""

import numpy as np
import pytest

from prepcheck.evaluate.sparse import PIT_MEASURES, POINT_MEASURES, pit_tally, point_tally
from prepcheck.terms import State

B, X = int(State.BRIGHT), int(State.CANNOT_TELL)


def test_points_are_counted_as_the_labels_say():
    labels = np.array([1, 1, 2, 3, 4, 5, 0, 6, 9, 2], np.uint8)
    told = np.array([1, 2, 1, 3, 4, 5, 1, 1, 1, 255], np.uint8)
    made = point_tally(told, labels)
    figures = {name: float(measure(made)) for name, measure in POINT_MEASURES.items()}
    assert figures == {
        "coverage": pytest.approx(6 / 7),
        "bright called bright": 0.5,
        "wrongly bright": 0.25,
        "residue found": pytest.approx(2 / 3),
        "balanced accuracy of points": pytest.approx((0.5 + 0.75) / 2),
    }


def test_coating_called_background_is_not_wrongly_bright():
    made = point_tally(np.array([0, 0], np.uint8), np.array([4, 4], np.uint8))
    assert POINT_MEASURES["wrongly bright"](made) == 0


def pits(*, told=B, burnt=None):
    """Two pits of 16 pixels on a plate of 40 x 60, of which the left one is called `told` and the right one bright."""
    truth, states = np.zeros((40, 60), bool), np.full((40, 60), B, np.uint8)
    truth[10:14, 10:14] = truth[10:14, 40:44] = True
    states[10:14, 10:14] = told
    return pit_tally(states, truth, np.zeros((40, 60), bool) if burnt is None else burnt)


@pytest.mark.parametrize(("told", "found", "residue"), [(3, 0.5, 0.5), (2, 0, 0.5), (1, 0, 0), (255, 0, 0)])
def test_a_pit_is_found_when_a_quarter_of_it_is_mapped_as_pit(told, found, residue):
    made = pits(told=told)
    assert float(PIT_MEASURES["pits found"](made)) == found
    assert float(PIT_MEASURES["pits mapped as any residue"](made)) == residue


def test_the_pit_area_called_bright_is_counted():
    assert PIT_MEASURES["pit area called bright"](pits(told=255)) == 0.5


def test_the_rim_of_glare_called_residue_is_counted_and_the_glare_itself_apart():
    burnt = np.zeros((40, 60), bool)
    burnt[30:34, 30:34] = True
    states = np.full((40, 60), B, np.uint8)
    states[29, :] = State.OXIDE
    made = pit_tally(states, np.zeros((40, 60), bool), burnt)
    assert PIT_MEASURES["burnt out, mapped as residue"](made) == 0
    assert PIT_MEASURES["rim of glare, mapped as residue"](made) == 0.25  # one of four sides; no pixel at the corners


def test_without_burnt_out_pixels_there_is_no_rim():
    assert np.isnan(PIT_MEASURES["rim of glare, mapped as residue"](pits()))
