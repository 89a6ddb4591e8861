"""Reports that phones ask for: written by a worker, one after the other, while who asked looks on or goes on."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Future, ThreadPoolExecutor
from dataclasses import dataclass, field

from prepcheck.errors import StoreFault
from prepcheck.web import looker
from prepcheck.web.errors import Busy
from prepcheck.web.looker import Fault, ReportAsked
from prepcheck.web.workers import Workers

_MOST = 8
"""Reports that wait or lie ready: more are no shop's need, and each may hold some megabytes."""
_KEPT_S = 30.0
"""Seconds for which a report lies ready for who asked; the waiting page asks again more often than that."""


@dataclass(frozen=True)
class Writing:
    """A report that is being written, or lies ready."""

    future: Future[bytes]
    began: float
    ended: list[float] = field(default_factory=list)

    def wait(self, seconds: float) -> bytes | None:
        """Return the report once it is written, None when that takes longer; raises why it cannot be written."""
        try:
            return self.future.result(seconds)
        except TimeoutError:
            if self.future.done():
                raise
            return None


def write_by(workers: Workers, asked: ReportAsked) -> bytes:
    """Let a worker write the report of a job; `StoreFault` says why it cannot be written."""
    try:
        written = workers.begin(looker.write_report, asked).result()
    except BrokenExecutor as error:
        workers.renew()
        raise StoreFault("the report was not written: its process ended", "Try again", asked.job) from error
    if isinstance(written, Fault):
        raise StoreFault("the report was not written", written.message.rstrip("."), asked.job)
    return written


class Reports:
    """The reports of a shop that are asked for now.

    Parameters
    ----------
    write : callable
        Lets a worker write one.
    seconds : callable, optional
        A clock that only goes forward.
    """

    def __init__(self, write: Callable[[ReportAsked], bytes], seconds: Callable[[], float] = time.monotonic) -> None:
        self._write, self._seconds = write, seconds
        self._writings: dict[tuple[object, ...], Writing] = {}
        self._writer = ThreadPoolExecutor(1, "reports")
        self._lock = threading.Lock()

    def ask(self, asked: ReportAsked) -> Writing:
        """Begin a report, or find the same one that is being written or was just now; `Busy` when too many are."""
        key = (asked.job, asked.system, asked.paper)
        with self._lock:
            self._forget()
            if key not in self._writings:
                if len(self._writings) >= _MOST:
                    raise Busy
                self._writings[key] = self._begin(asked)
            return self._writings[key]

    def taken(self, writing: Writing) -> None:
        """Forget a report that was handed over, so that the next one is written anew."""
        with self._lock:
            self._writings = {key: one for key, one in self._writings.items() if one is not writing}

    def waited(self, writing: Writing) -> float:
        """Return for how many seconds a report has been asked for."""
        return self._seconds() - writing.began

    def stop(self) -> None:
        """Finish what is being written, and no more."""
        self._writer.shutdown(cancel_futures=True)

    def _begin(self, asked: ReportAsked) -> Writing:
        writing = Writing(self._writer.submit(self._write, asked), self._seconds())
        writing.future.add_done_callback(lambda _: writing.ended.append(self._seconds()))
        return writing

    def _forget(self) -> None:
        now = self._seconds()
        old = [key for key, one in self._writings.items() if one.ended and now - one.ended[0] > _KEPT_S]
        for key in old:
            del self._writings[key]
