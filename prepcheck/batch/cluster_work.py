"""What runs on the machines of a cluster: only what is equal to what the client has gives answers."""

from __future__ import annotations

import hashlib
import pickle
import platform
from dataclasses import asdict, dataclass
from functools import cache
from importlib.metadata import version

import cv2

import prepcheck
from prepcheck.batch.work import Done, Task, start_worker, work_on
from prepcheck.resources import folder


@dataclass(frozen=True)
class Kit:
    """What is installed on a machine. The same kit, model and settings give the same answer."""

    prepcheck: str
    models: str
    opencv: str
    python: str
    dask: str

    def differences(self, wanted: Kit) -> str:
        """Say what is not as wanted; empty when all is."""
        have, want = asdict(self), asdict(wanted)
        return ", ".join(f"{name} is {have[name]}, here {want[name]}" for name in have if have[name] != want[name])


@dataclass(frozen=True)
class Refused:
    """A machine that is not like the client, and why."""

    machine: str
    why: str


@cache
def own_kit() -> Kit:
    """Return what is installed here."""
    return Kit(prepcheck.__version__, _registry(), cv2.__version__, _python(), version("distributed"))


def work_there(wanted: Kit, packed: bytes, machine: str = "") -> Done | Refused:
    """Unpack a task and do it, on a machine with the wanted kit; a task of another version is not even unpacked."""
    told = own_kit().differences(wanted)
    if told:
        return Refused(machine or _machine(), told)
    start_worker()
    task: Task = pickle.loads(packed)
    return work_on(task)


def _registry() -> str:
    """Return the first digits of the SHA-256 of the registry of models."""
    try:
        return hashlib.sha256((folder("models") / "registry.json").read_bytes()).hexdigest()[:12]
    except OSError:
        return "missing"


def _python() -> str:
    return ".".join(platform.python_version_tuple()[:2])


def _machine() -> str:
    from distributed import get_worker

    return str(get_worker().address)
