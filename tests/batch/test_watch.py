"""Photos that are still being copied are left alone until they are quiet."""

from __future__ import annotations

import pytest

from prepcheck.batch.sources import Item
from prepcheck.batch.watch import QUIET_S, Quiet


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def quiet(clock):
    return Quiet(clock)


def asked(quiet, clock, at, stamp):
    clock.now = at
    return quiet(Item("a.jpg", stamp=stamp))


def test_a_photo_is_taken_when_it_has_not_changed_for_a_while(quiet, clock):
    asks = [(0, "1"), (QUIET_S - 0.1, "1"), (QUIET_S, "1")]
    assert [asked(quiet, clock, *ask) for ask in asks] == [False, False, True]


def test_one_that_grows_is_waited_for(quiet, clock):
    asks = [(0, "1"), (QUIET_S, "2"), (QUIET_S + 1, "2"), (2 * QUIET_S, "2")]
    assert [asked(quiet, clock, *ask) for ask in asks] == [False, False, False, True]


def test_it_is_taken_once_in_each_state(quiet, clock):
    asks = [(0, "1"), (5, "1"), (10, "1"), (11, "2"), (20, "2")]
    assert [asked(quiet, clock, *ask) for ask in asks] == [False, True, False, False, True]
