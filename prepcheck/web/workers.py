"""The processes that look at photos and write reports, so that the server itself always answers."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")
MakePool = Callable[[int], Executor]


class Workers:
    """A pool of processes; when one of them dies, another pool stands in its place.

    Parameters
    ----------
    make_pool : callable
        Makes a pool of so many processes.
    count : int
        How many.
    """

    def __init__(self, make_pool: MakePool, count: int) -> None:
        self._make_pool, self._count = make_pool, count
        self._pool = make_pool(count)
        self._lock = threading.Lock()

    def begin(self, do: Callable[P, T], *told: P.args, **more: P.kwargs) -> Future[T]:
        """Let a process do something."""
        with self._lock:
            pool = self._pool
        try:
            return pool.submit(do, *told, **more)
        except BrokenExecutor:
            return self._renewed(pool).submit(do, *told, **more)

    def renew(self) -> None:
        """Put another pool in the place of one in which a process died."""
        with self._lock:
            pool = self._pool
        self._renewed(pool)

    def alone(self, do: Callable[P, T], *told: P.args, **more: P.kwargs) -> T:
        """Do something in a process of its own; `BrokenExecutor` when that dies."""
        pool = self._make_pool(1)
        try:
            return pool.submit(do, *told, **more).result()
        finally:
            pool.shutdown(wait=False)

    def stop(self) -> None:
        """Finish what is being done; what waits is given up."""
        self._pool.shutdown(cancel_futures=True)

    def _renewed(self, broken: Executor) -> Executor:
        with self._lock:
            if self._pool is broken:
                self._pool = self._make_pool(self._count)
            return self._pool
