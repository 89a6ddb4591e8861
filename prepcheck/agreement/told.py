"""The tool's answer at counted points: by inspecting the photo, or from maps that were written before."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.agreement.compare import TOOL
from prepcheck.agreement.fields import Field
from prepcheck.agreement.form import Counted
from prepcheck.errors import Unreadable, WrongUse
from prepcheck.inspection import inspect
from prepcheck.photo import Photo, from_bytes, read_bytes
from prepcheck.settings import Settings
from prepcheck.surface import Model
from prepcheck.terms import Standing, State

_PNG = b"\x89PNG\r\n\x1a\n"
_MOST_BYTES = 100_000_000
_ANEW = "Write it anew with prepcheck inspect --maps"

Tell = Callable[[Field], "Told"]


@dataclass(frozen=True)
class Told:
    """The tool's states at the points of one photo, and the standing it gave the photo; None when read from maps."""

    counted: Counted = field(repr=False)
    standing: Standing | None = None


def by_inspection(folder: Path, model: Model, settings: Settings) -> Tell:
    """Return a function that inspects a photo of the count in `folder` and reads its map at the points."""

    def tell(one: Field) -> Told:
        _, photo = read_photo(folder / one.file, one, settings)
        inspection = inspect(photo, model, settings)
        surface = inspection.surface
        codes = _at(surface.states, surface.from_full(one.points))
        return Told(_counted(one, codes), inspection.standing)

    return tell


def from_maps(maps: Path) -> Tell:
    """Return a function that reads ``NAME.states.png`` in `maps`, as ``prepcheck inspect --maps`` wrote it."""

    def tell(one: Field) -> Told:
        path = maps / f"{Path(one.name).stem}.states.png"
        return Told(_counted(one, _at(_plane(path, one), one.points)))

    return tell


def read_photo(path: Path, one: Field, settings: Settings) -> tuple[bytes, Photo]:
    """Read the file of a photo of a count; return its bytes and the photo.

    Raises
    ------
    BrokenInput
        It cannot be read.
    WrongUse
        It is not the photo that the points were laid on.
    """
    data = read_bytes(path, settings.photo.max_bytes)
    if hashlib.sha256(data).hexdigest() != one.sha256:
        raise WrongUse("is not the photo that the points were laid on", "Put the original back", str(path))
    return data, from_bytes(data, one.name, settings)


def _counted(one: Field, codes: NDArray[np.uint8]) -> Counted:
    labels = tuple((State(code),) for code in codes.tolist())
    return Counted(one.name, one.sha256, one.grid, TOOL, labels, TOOL)


def _at(states: NDArray[np.uint8], places: NDArray[np.float64]) -> NDArray[np.uint8]:
    last = np.array(states.shape[::-1]) - 1
    x, y = np.clip(np.round(places).astype(np.int64), 0, last).T
    return np.asarray(states[y, x], np.uint8)


def _plane(path: Path, one: Field) -> NDArray[np.uint8]:
    data = read_bytes(path, _MOST_BYTES)
    if data[:8] != _PNG or len(data) < 24:
        raise Unreadable("is no map of states", _ANEW, path.name)
    if struct.unpack(">II", data[16:24]) != one.size:  # before anything is decoded
        raise WrongUse("has another size than the photo", f"Map {one.name} again", path.name)
    plane = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    if plane is None or plane.shape != one.size[::-1] or not np.isin(plane, list(State)).all():
        raise Unreadable("is no map of states", _ANEW, path.name)
    return np.asarray(plane, np.uint8)
