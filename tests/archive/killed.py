"""Seals a job and kills itself (SIGKILL) before the n-th sync or rename; prints what was left each time.

A few moments while the files are written, and every one of the last: around the log's entry and the bag's name.

Run as ``python -m tests.archive.killed FOLDER``; each line is JSON.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from prepcheck import tasks
from prepcheck.archive.job_seal import seal_job
from prepcheck.archive.verify import verify
from prepcheck.settings import Settings
from tests.archive.test_job_seal import LATER, job
from tests.store.logs import copy_log

KILL = signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM


def main(folder: Path) -> None:
    """Seal once for every moment."""
    job(folder / "start")
    moments = _moments(_copy(folder, "whole"))
    for moment in [*range(1, moments - 3, moments // 3), *range(moments - 3, moments + 2)]:
        place = _copy(folder, str(moment))
        ended = _in_another_process(lambda place=place, moment=moment: _seal(place, "bag", [0, moment]))
        print(json.dumps({"ended": ended, **_left(place)}), flush=True)


def _copy(folder: Path, name: str) -> Path:
    shutil.copytree(folder / "start", folder / name)
    copy_log(folder / "start", folder / name)
    return folder / name


def _moments(place: Path) -> int:
    """Count the syncs and renames of a whole seal."""
    calls, fsync, rename = [0, 10**9], os.fsync, os.rename
    _seal(place, "bag", calls)
    os.fsync, os.rename = fsync, rename
    return calls[0]


def _in_another_process(do: Callable[[], Any]) -> bool:
    child = os.fork()
    if child == 0:
        do()
        os._exit(0)
    return os.waitpid(child, 0)[1] == 0


def _seal(place: Path, name: str, calls: list[int] | None = None) -> tuple[Path, ...]:
    store, archive = tasks.open_log(place, Settings())
    if calls is not None:
        os.fsync, os.rename = _deadly(os.fsync, calls), _deadly(os.rename, calls)
    return seal_job(store, archive, "1", place / "out" / name, person="Ola", at=LATER).finished


def _deadly(call: Callable[..., Any], calls: list[int]) -> Callable[..., Any]:
    def counted(*arguments: Any, **named: Any) -> Any:
        calls[0] += 1
        if calls[0] == calls[1]:
            os.kill(os.getpid(), KILL)
        return call(*arguments, **named)

    return counted


def _left(place: Path) -> dict[str, Any]:
    """Say what is left after the kill, and after the next seal."""
    bag = place / "out/bag"
    there = bag.exists()
    faults = [str(fault) for fault in verify(bag).faults] if there else []
    store, _ = tasks.open_log(place, Settings())
    logged = len(store.seals())
    finished = [path.name for path in _seal(place, "next")]
    faults += [str(fault) for fault in verify(place / "out/next", after=bag if bag.exists() else None).faults]
    beside = [path.name for path in (place / "out").glob(".*")]
    return {
        "there": there, "logged": logged, "finished": finished, "faults": faults, "after": bag.exists(), "beside": beside,
    }  # fmt: skip


if __name__ == "__main__":
    main(Path(sys.argv[1]))
