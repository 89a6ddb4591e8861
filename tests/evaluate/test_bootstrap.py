"""Figures with intervals over groups."""

from dataclasses import dataclass

import numpy as np
import pytest

from prepcheck.evaluate.bootstrap import Counts, by_group, figures, total


@dataclass(frozen=True, eq=False)
class Hits(Counts):
    hits: float = 0
    of: float = 0


SHARE = {"share": lambda hits: hits.hits / hits.of}


def test_counts_of_one_group_are_drawn_together():
    groups = by_group([("a", Hits(1, 2)), ("b", Hits(0, 1)), ("a", Hits(3, 3))])
    assert [(one.hits, one.of) for one in groups] == [(4, 5), (0, 1)]


def test_equal_groups_have_an_interval_of_no_width():
    share = figures([Hits(3, 4)] * 5, SHARE, draws=50)["share"]
    assert (share.value, share.low, share.high) == (0.75, 0.75, 0.75)


def test_the_interval_is_that_of_the_normal_law_where_that_holds():
    # 400 photos of 50 pixels each, half of them hit: the deviation of the mean is 0.5 / sqrt(400 * 50).
    hits = np.random.default_rng(1).binomial(50, 0.5, 400)
    share = figures([Hits(int(hit), 50) for hit in hits], SHARE, draws=4000)["share"]
    assert (share.high - share.low) / 2 == pytest.approx(1.96 * 0.5 / np.sqrt(400 * 50), rel=0.1)


def test_the_same_seed_gives_the_same_interval():
    groups = [Hits(k, 10) for k in range(10)]
    assert figures(groups, SHARE, seed=5) == figures(groups, SHARE, seed=5)


def test_what_cannot_be_measured_is_no_number_and_warns_of_nothing():
    nothing = figures([Hits(0, 0)], {"none": lambda hits: hits.of * np.nan})["none"]
    assert np.isnan([nothing.value, nothing.low, nothing.high]).all()


def test_counts_add_up_and_read_as_plain_numbers():
    assert total([Hits(1, 2), Hits(2, 3)]).as_dict() == {"hits": 3, "of": 5}
