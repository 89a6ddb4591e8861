"""An invented apprentice's first passes on painted plates, inspected for the sheet and its pictures."""

from __future__ import annotations

import hashlib
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from prepcheck.inspection import inspect
from prepcheck.photo import from_bytes
from prepcheck.progress.blocks import by_month, by_spots
from prepcheck.progress.gather import Left, PersonWork
from prepcheck.progress.misses import miss_of
from prepcheck.progress.shots import SpotWork
from prepcheck.progress.work import Beside, firsts, passes_needed
from prepcheck.record import Record, record_of
from prepcheck.settings import Settings
from prepcheck.terms import State
from tests import painted
from tests.command import photo_bytes
from tests.progress.made import LEFT, shot, spots

SIZE = (240, 320)
PATCHES = {
    "rim": (State.OXIDE, 105, 120, 12),
    "middle": (State.PIT, 160, 120, 16),
    "large": (State.FOREIGN, 150, 120, 30),
}
"""Patches on a spot of radius 70 around (160, 120): state, x, y, radius."""


@cache
def plate(name: str) -> NDArray[np.uint8]:
    """Return the states of a painted plate."""
    return painted.plate(PATCHES[name], size=SIZE, spot=(160, 120, 70))


@cache
def photo_of(name: str) -> bytes:
    """Return its photo."""
    return photo_bytes(plate(name))


@cache
def record_for(name: str) -> Record:
    """Return the answer for it."""
    return record_of(inspect(from_bytes(photo_of(name), f"{name}.jpg", Settings()), painted.model(), Settings()))


def photo(sha256: str) -> bytes:
    """Return the bytes of one of the photos by hash."""
    return {hashlib.sha256(photo_of(name)).hexdigest(): photo_of(name) for name in PATCHES}[sha256]


def states(record: Record) -> NDArray[np.uint8]:
    """Return what was mapped in one of the photos: the truth."""
    return plate(record.photo.name.removesuffix(".jpg"))


def left(name: str, number: int, **more: Any) -> Left:
    """Make a first pass that left residue, on a spot with the number of its inspection."""
    record = record_for(name)
    outline = max(record.spots, key=lambda one: one.area_px).number
    miss = miss_of(record, outline, Settings().progress)
    assert miss is not None
    return Left(shot(number, LEFT, spot=number, outline=outline, **more), record.model_dump_json(), miss)


def work(*lives: str, name: str = "Mika", patches: tuple[str, ...] = (), **more: Any) -> PersonWork:
    """Make a person's work: spots as `spots` makes them, and first passes with what was left."""
    made: list[SpotWork] = spots(*lives)
    told: dict[str, Any] = {"beside": Beside({}), "models": (), **more}
    return PersonWork(
        name=name,
        since=None,
        until=None,
        spots=tuple(made),
        firsts=firsts(made),
        needed=passes_needed(made),
        left=tuple(left(one, number) for number, one in enumerate(patches, start=1)),
        months=tuple(by_month(made)),
        blocks=tuple(by_spots(made, Settings().progress.block_spots)),
        **told,
    )
