"""How sharp a map is: recall by distance from the edge, counted by hand on a straight one."""

import numpy as np
import pytest

from prepcheck.evaluate.edges import EDGES, by_distance, edge_table
from prepcheck.photo.align import SIDE
from prepcheck.terms import State

B, O, X = int(State.BRIGHT), int(State.OXIDE), int(State.CANNOT_TELL)  # noqa: E741
HALF = SIDE // 2


def halves(edge, codes=(B, O)):
    """A photo of 1280 x 8, the first kind left of column `edge`."""
    return np.where(np.arange(SIDE)[None] < edge, *codes).astype(np.uint8).repeat(8, axis=0)


def counted(told, truth, seen=None):
    seen = np.ones(truth.shape, bool) if seen is None else seen
    return by_distance((told != B).astype(np.float32), truth, seen)


def test_a_map_that_is_right_is_right_at_every_distance():
    counts = counted(halves(HALF), halves(HALF))
    assert (counts[..., 0] == counts[..., 1]).all()


def test_pixels_are_counted_by_how_far_the_other_kind_is():
    # Columns 1, 2, 3 ... pixels away: 1 under 2, then 2, 4, 8 and 16 of them, the rest beyond.
    counts = counted(halves(HALF), halves(HALF))
    assert counts[0, :, 1].tolist() == [8 * n for n in (1, 2, 4, 8, 16, HALF - 31)]
    assert counts[1, :, 1].tolist() == counts[0, :, 1].tolist()


def test_an_edge_that_is_moved_by_three_pixels_costs_the_three_next_to_it():
    counts = counted(halves(HALF + 3), halves(HALF))
    wrong = counts[..., 1] - counts[..., 0]
    assert wrong[0].tolist() == [0] * 6
    assert wrong[1].tolist() == [8, 16, 0, 0, 0, 0]


@pytest.mark.parametrize("smaller", [2, 4])
def test_distances_are_those_of_a_photo_of_1280(smaller):
    counts = counted(halves(HALF)[:, ::smaller], halves(HALF)[:, ::smaller])
    of = counts[0, :, 1] / counts[0, :, 1].sum()
    assert of[-1] == pytest.approx(1 - 32 / HALF, abs=0.01)


def test_without_the_other_kind_all_lies_beyond():
    only_metal = np.full((8, 40), B, np.uint8)
    counts = counted(only_metal, only_metal)
    assert counts[0, -1].tolist() == [320, 320]
    assert counts.sum() == 640


def test_what_is_not_seen_neither_counts_nor_makes_an_edge():
    truth = halves(HALF)
    counts = counted(truth, truth, seen=truth == B)
    assert counts[1].sum() == 0
    assert counts[0, :-1].sum() == 0


@pytest.mark.parametrize("code", [State.PIT, State.COATING, State.FOREIGN])
def test_every_residue_is_the_other_kind(code):
    told = counted(halves(HALF, (B, int(code))), halves(HALF, (B, int(code))))
    assert np.array_equal(told, counted(halves(HALF), halves(HALF)))


def test_the_table_gives_recalls_and_shares_and_no_recall_of_nothing():
    only_metal = np.full((8, 40), B, np.uint8)
    table = edge_table(counted(only_metal, only_metal))
    assert [row["px"] for row in table] == [*(f"under {edge:g}" for edge in EDGES), "from 32 on"]
    assert table[-1] == {"px": "from 32 on", "bright": 1.0, "residue": None, "bright_share": 1.0, "residue_share": 0.0}
    assert table[0]["bright"] is None
