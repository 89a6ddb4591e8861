"""The photos of a count with their points: ``points.json`` of a folder, in the layout of an evaluation folder."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Annotated

import numpy as np
from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError
from pydantic import Field as Limit

from prepcheck.agreement.grid import MOST, Grid, Points, whole
from prepcheck.errors import NameClash, WrongUse
from prepcheck.own_file import first_fault, read_text

LIST = "points.json"
MOST_PHOTOS = 1000
_MOST_BYTES = 50_000_000
_WHAT_ELSE = "Lay the points anew with prepcheck count grid"

_Position = tuple[Annotated[float, Limit(ge=-1, le=1e6)], Annotated[float, Limit(ge=-1, le=1e6)]]
_Side = Annotated[int, Limit(ge=1, le=1_000_000)]


@dataclass(frozen=True, eq=False)
class Field:
    """One photo of a count, a field in the words of ASTM E562, with its points.

    Parameters
    ----------
    file : str
        The photo, relative to the folder of the count.
    sha256 : str
        SHA-256 (hex) of its bytes.
    size : tuple of int
        Upright width and height in pixels.
    laid : Grid
        Where the points lie.
    """

    file: str
    sha256: str
    size: tuple[int, int]
    laid: Grid = field(repr=False)

    @property
    def name(self) -> str:
        """The photo's name without folders."""
        return PurePosixPath(self.file).name

    @property
    def points(self) -> Points:
        """The points, shape (n, 2)."""
        return self.laid.points

    @property
    def grid(self) -> str:
        """Hash (16 hex digits) of the photo and its points: counts of the same points, and only those, compare."""
        told = json.dumps([self.sha256, self.points.tolist()])
        return hashlib.sha256(told.encode()).hexdigest()[:16]


class _Entry(BaseModel):
    model_config = ConfigDict(allow_inf_nan=False)

    file: Annotated[str, Limit(min_length=1, max_length=500)]
    size: tuple[_Side, _Side]
    sha256: Annotated[str, Limit(pattern=r"^[0-9a-f]{64}$")]
    pitch: Annotated[float, Limit(gt=0, le=1e6)]
    seed: Annotated[int, Limit(ge=0, le=2**63)]
    outline: Annotated[list[_Position], Limit(min_length=3, max_length=10_000)] | None = None
    points: Annotated[list[_Position], Limit(min_length=1, max_length=4 * MOST)]
    labels: list[int] = []


_LIST = TypeAdapter(Annotated[list[_Entry], Limit(max_length=MOST_PHOTOS)])


def write_fields(fields: Sequence[Field]) -> bytes:
    """Return ``points.json`` with no labels: what lies under a point, people write on forms."""
    return json.dumps([_told(one) for one in fields], indent=1).encode()


def read_fields(folder: Path) -> list[Field]:
    """Read ``points.json`` of a folder.

    Raises
    ------
    WrongUse
        There is none, or it says something else: a point outside its photo, a photo outside the folder.
    """
    path = folder / LIST
    try:
        entries = _LIST.validate_json(read_text(path, _MOST_BYTES, WrongUse))
    except ValidationError as error:
        raise WrongUse(f"is no list of photos with points ({first_fault(error)})", _WHAT_ELSE, str(path)) from error
    return [_field(entry, str(path)) for entry in entries]


def without_field(folder: Path, sha256: str) -> bytes:
    """Return ``points.json`` of a folder, which `read_fields` could read, without a photo; all else in it stays."""
    told = json.loads(read_text(folder / LIST, _MOST_BYTES, WrongUse))
    return json.dumps([one for one in told if one["sha256"] != sha256], indent=1).encode()


def add_field(fields: Sequence[Field], more: Field) -> list[Field]:
    """Return `fields` with one more.

    Raises
    ------
    NameClash
        The same photo has points already, or another photo has its name, letter case and suffix aside.
    WrongUse
        The list is full.
    """
    if len(fields) >= MOST_PHOTOS:
        raise WrongUse(f"would be photo {len(fields) + 1:,} of a count", "Begin another folder", more.name)
    stem = PurePosixPath(more.file).stem.casefold()
    for one in fields:
        if one.sha256 == more.sha256:
            raise NameClash(f"has points already, as {one.name}", "Count those, or choose another folder", more.name)
        if PurePosixPath(one.file).stem.casefold() == stem:
            raise NameClash("has the name of another photo there", "Rename it, or choose another folder", more.name)
    return [*fields, more]


def _told(one: Field) -> dict[str, object]:
    outline = None if one.laid.outline is None else one.laid.outline.tolist()
    return {
        "file": one.file,
        "size": one.size,
        "sha256": one.sha256,
        "pitch": one.laid.pitch,
        "seed": one.laid.seed,
        "outline": outline,
        "points": one.points.tolist(),
        "labels": [],
    }


def _field(entry: _Entry, subject: str) -> Field:
    place = PurePosixPath(entry.file)
    if place.is_absolute() or ".." in place.parts or "\\" in entry.file:
        raise WrongUse("names a photo outside its folder", _WHAT_ELSE, subject)
    points = np.array(entry.points, np.float64)
    low, high = whole(entry.size).min(axis=0), whole(entry.size).max(axis=0)
    if ((points < low) | (points > high)).any():
        raise WrongUse(f"has points outside {place.name}", _WHAT_ELSE, subject)
    outline = None if entry.outline is None else np.array(entry.outline, np.float64)
    return Field(entry.file, entry.sha256, entry.size, Grid(points, entry.pitch, entry.seed, outline))
