"""Who works: processes of this machine here; a cluster in `prepcheck.batch.cluster`."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections import Counter, deque
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from multiprocessing.context import BaseContext
from typing import Protocol

from prepcheck.batch.work import Done, Task, failed, start_worker, work_on
from prepcheck.errors import LostWorker

MOST_STRIKES = 3
"""How often a task may end the process that works on it."""
_PAUSES = (0.0, 0.1, 0.5, 2.0, 5.0, 10.0)
"""Seconds before each try to start a process."""
_AHEAD = 2
"""Tasks that a worker has at hand: the one it works on, and the next."""


class Crew(Protocol):
    """Works on tasks."""

    def work(self, tasks: Iterable[Task]) -> Iterator[Done]:
        """Yield what comes of each task, once each, in any order.

        `tasks` are taken one by one, as workers come free, so there may be a million of them. A lost worker loses no
        task: it is worked on again, and after `MOST_STRIKES` losses its answer is an error.
        """
        ...

    def close(self) -> None:
        """Let the workers go; what they have at hand is dropped."""
        ...


class Workers:
    """Processes of this machine, each with one thread, started at the first task and kept until closed.

    Parameters
    ----------
    count : int
        How many; at least 1.
    """

    def __init__(self, count: int) -> None:
        self._lanes = [_Lane() for _ in range(count)]

    def work(self, tasks: Iterable[Task]) -> Iterator[Done]:
        """Yield what comes of each task; see `Crew`."""
        waiting, strikes = iter(tasks), Counter[int]()
        while busy := [lane for lane in self._lanes if lane.fill(waiting)]:
            wait([lane.first for lane in busy], return_when=FIRST_COMPLETED)
            for lane in busy:
                yield from lane.ended(strikes)

    def close(self) -> None:
        """End the processes."""
        for lane in self._lanes:
            lane.stop()


@dataclass
class _Lane:
    """One process and what it has at hand; a new one takes over when it is lost."""

    pool: ProcessPoolExecutor | None = None
    tasks: deque[tuple[Task, Future[Done]]] = field(default_factory=deque)

    @property
    def first(self) -> Future[Done]:
        return self.tasks[0][1]

    def fill(self, waiting: Iterator[Task]) -> bool:
        """Take tasks as far as there is room; say whether there is work at hand."""
        while len(self.tasks) < _AHEAD and (task := next(waiting, None)) is not None:
            self._submit(task)
        return bool(self.tasks)

    def ended(self, strikes: Counter[int]) -> Iterator[Done]:
        """Yield what is done, in the order in which it was taken."""
        while self.tasks and self.first.done():
            if self.first.cancelled() or isinstance(self.first.exception(), BrokenProcessPool):
                yield from self._begin_again(strikes)
                return
            yield self.tasks.popleft()[1].result()

    def _begin_again(self, strikes: Counter[int]) -> Iterator[Done]:
        """Start a new process; the first task was worked on when the old one was lost, the others only waited."""
        left = [task for task, _ in self.tasks]
        self.stop()
        strikes[left[0].number] += 1
        if strikes[left[0].number] >= MOST_STRIKES:
            lost = left.pop(0)
            what = f"the process that looked at it ended {MOST_STRIKES} times"
            yield failed(lost, LostWorker(what, "Look at it alone, or give more memory", lost.name))
        for task in left:
            self._submit(task)

    def _submit(self, task: Task) -> None:
        """Hand a task to the process; where that is lost, or none can be started at once, to a new one after a pause."""
        for pause in _PAUSES:
            time.sleep(pause)
            try:
                self.pool = self.pool or ProcessPoolExecutor(1, _context(), _start)
                self.tasks.append((task, self.pool.submit(work_on, task)))
                return
            except (BrokenProcessPool, OSError, EOFError):
                self._drop_pool()
        raise LostWorker("no process can be started", "Free some memory, then run again to go on", "batch")

    def stop(self) -> None:
        """End the process; what it has at hand is dropped."""
        self.tasks.clear()
        self._drop_pool()

    def _drop_pool(self) -> None:
        if self.pool is not None:
            self.pool.shutdown(wait=False, cancel_futures=True)
            self.pool = None


def _context() -> BaseContext:
    """Return how processes are started: from one that has loaded all they need, so that a new one is there at once."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["prepcheck.batch.work", "prepcheck.batch.again"])
    return context


def _start() -> None:
    """Begin a worker: Ctrl-C is for the one who leads, and without that one there is no work."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    start_worker()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
    os._exit(1)
