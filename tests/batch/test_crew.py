"""Processes of this machine: each task is answered once, whatever happens to the process that works on it.

Default tier: each test starts a process or two.
"""

from __future__ import annotations

import itertools
import os
import signal
from contextlib import closing

import pytest

from prepcheck.batch.crew import MOST_STRIKES, Workers
from tests.batch.small import Play


@pytest.fixture
def one():
    """A crew of one process."""
    with closing(Workers(1)) as crew:
        yield crew


def test_each_task_is_answered_once(one):
    answers = list(one.work(Play(number, "plain") for number in range(9)))
    assert sorted(done.number for done in answers) == list(range(9))


def test_tasks_are_taken_as_workers_come_free(one):
    taken = []
    answers = one.work(taken.append(number) or Play(number, "plain") for number in itertools.count())
    [next(answers) for _ in range(5)]
    assert len(taken) <= 5 + 2


def test_processes_are_kept_between_two_calls(one):
    lines = {done.line for _ in range(2) for done in one.work([Play(1, "plain")])}
    assert len(lines) == 1


def test_a_fault_that_nobody_foresaw_is_an_error_of_that_task_alone(one):
    first, second = sorted(one.work([Play(1, "strange"), Play(2, "plain")]), key=lambda done: done.number)
    assert "ZeroDivisionError" in first.line
    assert (first.error, second.error) == ("error", "")


def test_a_task_that_ends_its_process_is_an_error_in_the_end_and_the_rest_go_on(one):
    answers = {done.name: done for done in one.work([Play(1, "plain"), Play(2, "deadly"), Play(3, "other")])}
    assert {name: done.error for name, done in answers.items()} == {"plain": "", "deadly": "lost_worker", "other": ""}
    assert f"ended {MOST_STRIKES} times" in answers["deadly"].line


def test_such_an_error_is_worth_another_try_on_another_day(one):
    (done,) = one.work([Play(1, "deadly")])
    assert done.sha256 == ""


def test_a_task_whose_process_ends_once_is_worked_on_again(one, tmp_path):
    (done,) = one.work([Play(1, "deadly once", str(tmp_path))])
    assert done.error == ""


def test_a_process_that_is_killed_between_two_calls_is_replaced(one):
    (done,) = one.work([Play(1, "plain")])
    os.kill(int(done.line.split()[1]), signal.SIGKILL)
    (again,) = one.work([Play(2, "plain")])
    assert (again.error, again.line == done.line) == ("", False)
