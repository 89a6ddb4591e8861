"""A crew on other machines: a Dask cluster. Workers compute and return; only the client writes ledger and log.

Nothing of a cluster is lasting: a task that is lost with its worker is worked on again by another, and what is lost with the
scheduler or the client is done by the next run, since the ledger has it not.
"""

from __future__ import annotations

import hashlib
import logging
import pickle
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from queue import Empty, SimpleQueue
from secrets import token_hex
from typing import Any
from urllib.parse import urlsplit

from prepcheck.archive.bucket import is_here
from prepcheck.batch.again import AgainTask
from prepcheck.batch.cluster_keys import check_address, security
from prepcheck.batch.cluster_work import Kit, Refused, own_kit, work_there
from prepcheck.batch.crew import MOST_STRIKES
from prepcheck.batch.work import Done, PhotoTask, Task, failed, work_on
from prepcheck.errors import ClusterFault, LostWorker, WrongUse

_SECONDS_TO_CONNECT = 10
_SECONDS_WITHOUT_WORKER = 120
"""A worker that is started again is back long before."""
_PATIENCE = 2.0
"""Seconds of silence until one looks whether all are still there."""
_AHEAD = 2
"""Tasks at hand for each thread of the cluster: the one that it works on, and the next."""
_MOST_BYTES = 256_000_000
"""Of tasks at hand: the scheduler keeps them in memory until they are done."""


@dataclass(frozen=True)
class _AtHand:
    """A task that the cluster has: its future, what went along, and how often it was given up."""

    task: Task
    future: Any
    data: bytes
    strikes: int = 0


class Cluster:
    """Workers of a Dask cluster, all of the same version as this program.

    Parameters
    ----------
    address : str
        Of the scheduler: ``tls://HOST:PORT``, or ``tcp://`` for one on this computer.
    keys : Path, optional
        Folder with the keys of the cluster; see `prepcheck.batch.cluster_keys`.

    Raises
    ------
    WrongUse
        The address may not be spoken to, the keys cannot be used, or the optional part is not installed.
    ClusterFault
        The scheduler does not answer, or a worker is not like this program.
    """

    def __init__(self, address: str, keys: Path | None = None) -> None:
        check_address(address, keys)
        self.address = address
        self._kit = own_kit()
        self._at_hand: dict[str, _AtHand] = {}
        self._ended: SimpleQueue[str] = SimpleQueue()
        self._threads, self._counted = 0, 0.0
        self._client = _connect(address, keys)
        try:
            check_machines(self._client, self._kit)
        except BaseException:
            self.close()
            raise

    def work(self, tasks: Iterable[Task]) -> Iterator[Done]:
        """Yield what comes of each task; see `prepcheck.batch.crew.Crew`.

        Raises
        ------
        ClusterFault
            The scheduler is gone, no worker is left, or one of another version came. What was yielded is done.
        """
        waiting = iter(tasks)
        while True:
            yield from self._hand_out(waiting)
            if not self._at_hand:
                return
            for key in self._some_ended():
                one = self._at_hand.pop(key)
                if not self._is_tried_again(one):
                    yield self._answer(one)

    def machines(self) -> dict[str, int]:
        """Return how many photos each worker looks at at once, by its address."""
        return dict(self._ask(self._client.nthreads))

    def close(self) -> None:
        """Leave the cluster; what it has at hand for this client is dropped.

        A client whose scheduler ends while it connects anew raises what it met there, however often it is closed, by its
        destructor too: it is marked as closed, and its thread is ended.
        """
        self._at_hand.clear()
        try:
            self._client.close(timeout=_PATIENCE)
        except Exception:
            self._client.status = "closed"
            self._client._loop_runner.stop()

    def _hand_out(self, waiting: Iterator[Task]) -> Iterator[Done]:
        """Give tasks to the cluster as far as there is room; one whose photo cannot be read here is answered here."""
        while self._has_room() and (task := next(waiting, None)) is not None:
            packed = travelling(task)
            if packed is None:
                yield work_on(task)
            else:
                self._submit(task, pickle.dumps(packed))

    def _submit(self, task: Task, data: bytes, strikes: int = 0) -> None:
        key = f"{key_of(task)}-{strikes}"
        while key in self._at_hand:
            key += "+"
        future = self._client.submit(work_there, self._kit, data, key=key, pure=False)
        self._at_hand[key] = _AtHand(task, future, data, strikes)
        future.add_done_callback(lambda _: self._ended.put(key))

    def _has_room(self) -> bool:
        if time.monotonic() - self._counted > _PATIENCE:
            self._threads, self._counted = sum(self.machines().values()), time.monotonic()
        few = len(self._at_hand) < _AHEAD * max(self._threads, 1)
        return few and (not self._at_hand or sum(len(one.data) for one in self._at_hand.values()) < _MOST_BYTES)

    def _some_ended(self) -> Iterator[str]:
        """Yield the keys of tasks that have ended: waits for one, and gives those that did meanwhile."""
        seconds = 0.0
        while True:
            try:
                yield self._ended.get(timeout=_PATIENCE)
                break
            except Empty:
                seconds = 0.0 if self.machines() else seconds + _PATIENCE
            if seconds > _SECONDS_WITHOUT_WORKER:
                raise ClusterFault("no worker is left", "Start workers, then run again to go on", self.address)
        while not self._ended.empty():
            yield self._ended.get()

    def _is_tried_again(self, one: _AtHand) -> bool:
        """Give a task once more to the cluster that was given up there.

        The cluster gives up what it lost with several workers in a row. It may have been there by chance: a worker that ends
        takes along what it only waited with, too.
        """
        if not _is_given_up(one.future) or one.strikes + 1 >= MOST_STRIKES:
            return False
        self._submit(one.task, one.data, one.strikes + 1)
        return True

    def _answer(self, one: _AtHand) -> Done:
        """Return what came of a task. The number is set anew: two clients that ask the same share one answer."""
        task, future = one.task, one.future
        if future.status == "finished":
            told = self._ask(future.result)
            if isinstance(told, Refused):
                raise ClusterFault(f"another version came ({told.why})", "Install one version on all", told.machine)
            if isinstance(told, Done):
                return replace(told, number=task.number)
        if _is_given_up(future):
            what = "the processes that looked at it ended again and again"
            return failed(task, LostWorker(what, "Look at it alone, or give more memory", task.name))
        error = future.exception() if future.status == "error" else None
        if future.status in ("error", "finished"):
            told = "no answer" if error is None else f"{type(error).__name__}: {str(error)[:100]}"
            raise ClusterFault(f"a worker could not do the work ({told})", "Install one version on all", self.address)
        raise self._gone()

    def _ask(self, ask: Any) -> Any:
        """Ask the cluster something; whatever goes wrong with that means that it is gone."""
        if self._client.status != "running":
            raise self._gone()
        try:
            return ask()
        except Exception as error:
            raise self._gone() from error

    def _gone(self) -> ClusterFault:
        return ClusterFault(
            "the scheduler is gone; what was done is kept",
            "Start it and its workers, then run again to go on",
            self.address,
        )


def _is_given_up(future: Any) -> bool:
    """Say whether the cluster gave a task up because several workers in a row ended with it."""
    from distributed.scheduler import KilledWorker

    return future.status == "error" and isinstance(future.exception(), KilledWorker)


def travelling(task: Task) -> Task | None:
    """Return a task as it goes to a worker: with the photo's bytes where the worker cannot reach them; None without any."""
    if isinstance(task, AgainTask):
        carrying_all = task.carrying()
        return None if carrying_all.archive is None else carrying_all
    if not isinstance(task, PhotoTask) or task.source.is_shared:
        return task
    carrying = task.carrying()
    return None if carrying.files is None else carrying


def key_of(task: Task) -> str:
    """Return the name of a computation in the cluster: photo, model and settings; for other tasks a name of their own."""
    if isinstance(task, PhotoTask):
        parts = (task.source.name, task.name, task.item.stamp, *task.item.more, task.spec.key.text, *sorted(task.known))
    else:
        parts = (type(task).__name__, task.name, token_hex(16))
    return "look-" + hashlib.sha256("\n".join(parts).encode("utf-8", "surrogatepass")).hexdigest()


def check_machines(client: Any, wanted: Kit) -> dict[str, Kit]:
    """Return the kit of each worker, all as wanted.

    Raises
    ------
    ClusterFault
        There is no worker; one is unencrypted on another computer; or scheduler or a worker is of another version.
    """
    try:
        kits: dict[str, Any] = client.run(own_kit, on_error="return")
        kits_with_scheduler = {"the scheduler": client.run_on_scheduler(own_kit), **kits}
    except Exception as error:
        what = f"its versions cannot be asked ({type(error).__name__})"
        raise ClusterFault(what, "Install prepcheck on the scheduler's machine, too", client_address(client)) from error
    if not kits:
        raise ClusterFault("has no worker", "Start one with dask worker", client_address(client))
    for machine, kit in kits_with_scheduler.items():
        if not isinstance(kit, Kit):
            raise ClusterFault(f"has no prepcheck that can be asked ({kit})", "Install the same version there", machine)
        if told := kit.differences(wanted):
            raise ClusterFault(f"is of another version ({told})", "Install one version on all", machine)
    for machine in kits:
        parts = urlsplit(machine)
        if parts.scheme == "tcp" and not is_here(parts.hostname or ""):
            raise ClusterFault("is spoken to unencrypted", "Start scheduler and workers with keys", machine)
    return kits


def client_address(client: Any) -> str:
    """Return the address of a client's scheduler."""
    return str(client.scheduler.address if client.scheduler else "the scheduler")


def _quieten() -> None:
    """Let the library log nothing: its faults are told in our words, and each of its loggers has a level of its own."""
    for name in ("distributed", *logging.root.manager.loggerDict):
        if name.partition(".")[0] == "distributed":
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)


def _connect(address: str, keys: Path | None) -> Any:
    try:
        import dask
        from distributed import Client
    except ImportError as error:
        raise WrongUse("needs an optional part", "Install it: pip install prepcheck[cluster]", address) from error
    dask.config.set({"distributed.admin.large-graph-warning-threshold": "1 GB"})  # photos are large, and meant to be
    _quieten()
    given = {} if keys is None or address.startswith("tcp:") else {"security": security(keys)}
    try:
        return Client(address, timeout=_SECONDS_TO_CONNECT, set_as_default=False, **given)
    except (OSError, TimeoutError, RuntimeError, ValueError) as error:
        secret = any(word in str(error).lower() for word in ("ssl", "certificate", "tls"))
        do = "Check address and network, and that scheduler and workers run"
        if address.startswith("tls:"):
            do += ", with the same keys as here"
        what = "does not accept these keys" if secret and "certificate" in str(error).lower() else "does not answer"
        raise ClusterFault(what, do, address) from error
