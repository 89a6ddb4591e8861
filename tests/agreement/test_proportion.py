"""The exact interval of a share against published values."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from prepcheck.agreement.proportion import proportion

PUBLISHED = {
    # R binom.confint, as carried in the tests of statsmodels (seen).
    (18, 20): (0.683017, 0.987651),
    (4, 20): (0.057334, 0.436614),
    (4, 200): (0.005476, 0.050414),
    (190, 200): (0.909972, 0.975766),
    (1, 30): (0.000844, 0.172169),
    (0, 30): (0, 0.115703),
    (30, 30): (0.884297, 1),
}
NEWCOMBE = {(81, 263): (0.2527, 0.3676), (15, 148): (0.0578, 0.1617), (0, 20): (0, 0.1684), (1, 29): (0.0009, 0.1776)}
"""R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, from memory, recomputed."""


@pytest.mark.parametrize(("counts", "ends"), PUBLISHED.items())
def test_the_exact_interval_is_the_published_one(counts: tuple[int, int], ends: tuple[float, float]) -> None:
    found = proportion(*counts)
    assert (found.low, found.high) == pytest.approx(ends, abs=1e-6)


@pytest.mark.parametrize(("counts", "ends"), NEWCOMBE.items())
def test_the_exact_interval_agrees_with_newcombe(counts: tuple[int, int], ends: tuple[float, float]) -> None:
    found = proportion(*counts)
    assert (found.low, found.high) == pytest.approx(ends, abs=5e-5)


@given(st.integers(1, 60), st.data())
def test_at_its_ends_what_was_seen_has_a_tail_of_a_fortieth(of: int, data: st.DataObject) -> None:
    # Second way: the definition by binomial tails.
    hits = data.draw(st.integers(0, of))
    found = proportion(hits, of)
    if hits:
        assert binom.sf(hits - 1, of, found.low) == pytest.approx(0.025, rel=1e-6)
    if hits < of:
        assert binom.cdf(hits, of, found.high) == pytest.approx(0.025, rel=1e-6)


def test_thirty_of_thirty_is_not_all() -> None:
    assert proportion(30, 30).low < 0.9


def test_nothing_seen_leaves_everything_open() -> None:
    nothing = proportion(0, 0)
    assert (nothing.share, nothing.low, nothing.high) == (None, 0, 1)


@pytest.mark.parametrize(("hits", "of"), [(5, 4), (-1, 4), (0, -1)])
def test_impossible_counts_are_refused(hits: int, of: int) -> None:
    with pytest.raises(ValueError, match="is no proportion"):
        proportion(hits, of)
