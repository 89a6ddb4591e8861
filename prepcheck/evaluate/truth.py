"""Reads a labelled folder (layout in the design, section 5)."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import Unreadable
from prepcheck.terms import State

_LAYOUT = "See the layout in the docs"
_BINNED = {
    "tilt_deg": ("tilt", "deg", (10.0, 20.0, 30.0)),
    "distance_mm": ("distance", "mm", (250.0, 400.0, 600.0, 900.0)),
    "mm_per_px": ("scale", "mm/px", (0.1, 0.15, 0.2, 0.3)),
}
"""Numbers of the meta files that photos are split by: name, unit, and edges of the bins."""


_NAMES = ("id", "name", "group")
"""Words of the meta files that name a photo or its scene."""


@dataclass(frozen=True, eq=False)
class Truth:
    """What is known of one photo.

    Parameters
    ----------
    path : Path
        The photo.
    states : ndarray, shape (h, w), uint8
        State codes; 255 is not labelled.
    ground : ndarray, shape (h, w), bool
        True ground area; what is labelled where none is given.
    group : str
        Name of the scene: photos of one scene are drawn together.
    mm_per_px : float or None
        Scale, for patch sizes.
    split : dict of str to str
        What to split by.
    """

    path: Path
    states: NDArray[np.uint8] = field(repr=False)
    ground: NDArray[np.bool_] = field(repr=False)
    group: str
    mm_per_px: float | None
    split: Mapping[str, str]

    @property
    def pits_only(self) -> bool:
        """Whether pits and nothing else are labelled."""
        return bool(np.isin(self.states, (State.PIT, State.CANNOT_TELL)).all() and (self.states == State.PIT).any())


@dataclass(frozen=True, eq=False)
class Points:
    """Labelled points (n, 2) of one photo, (x, y) in pixels of the upright photo, with labels (n,)."""

    path: Path
    name: str
    source: str
    points: NDArray[np.float64] = field(repr=False)
    labels: NDArray[np.uint8] = field(repr=False)


def read_truths(folder: Path) -> Iterator[Truth]:
    """Read ``states/NAME.png``, ``ground/NAME.png`` and ``meta/NAME.json`` of every ``images/NAME`` that has states.

    Raises
    ------
    Unreadable
        There is no photo with truth, or a file of it says something else.
    """
    photos = sorted(path for path in (folder / "images").glob("*") if (folder / f"states/{path.stem}.png").is_file())
    if not photos:
        raise Unreadable("holds no images/NAME with states/NAME.png", _LAYOUT, str(folder))
    for path in photos:
        yield _truth(path, folder)


def read_points(folder: Path) -> list[Points]:
    """Read ``points.json``; photos that are missing are left out.

    Raises
    ------
    Unreadable
        The list says something else, or names no photo that is there.
    """
    file = folder / "points.json"
    try:
        entries = [_entry(folder, entry) for entry in json.loads(file.read_text(encoding="utf-8"))]
    except (OSError, ValueError, TypeError, KeyError, OverflowError) as error:
        raise Unreadable(f"is no list of labelled points ({error})", _LAYOUT, str(file)) from error
    if odd := [one.name for one in entries if one.labels.shape != (len(one.points),)]:
        raise Unreadable(f"has not one label for each point of {odd[0]}", "Mend the list", str(file))
    there = [one for one in entries if one.path.is_relative_to(folder.resolve()) and one.path.is_file()]
    if not there:
        raise Unreadable("names no photo that is there", _LAYOUT, str(file))
    return there


def _entry(folder: Path, entry: Mapping[str, Any]) -> Points:
    name = str(entry["file"])
    points = np.array(entry["points"], np.float64).reshape(-1, 2)
    return Points((folder / name).resolve(), name, source_of(name), points, np.array(entry["labels"], np.uint8))


def source_of(name: str) -> str:
    """Return where a photo comes from: its first folder, or the start of its name where all lie in ``images/``."""
    parts = PurePosixPath(name).parts
    return parts[0] if len(parts) > 1 and parts[0] != "images" else parts[-1].split("_")[0]


def split_of(meta: Mapping[str, Any]) -> dict[str, str]:
    """Return what a meta file gives to split by: words, yes or no, lists of words, and numbers in bins.

    What lies one level deeper (a recipe) counts too.
    """
    flat = {k: v for inner in meta.values() if isinstance(inner, dict) for k, v in inner.items()} | dict(meta)
    words = {k: str(v) for k, v in flat.items() if isinstance(v, str | bool) and k not in _NAMES}
    lists = {
        k: "+".join(v) for k, v in flat.items() if isinstance(v, list) and v and all(isinstance(w, str) for w in v)
    }
    numbers = {name: _bin(flat[k], unit, edges) for k, (name, unit, edges) in _BINNED.items() if _number(flat.get(k))}
    return words | lists | numbers


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and np.isfinite(value)


def _bin(value: float, unit: str, edges: tuple[float, ...]) -> str:
    bounds = (0.0, *edges)
    at = int(np.searchsorted(edges, value, side="right"))
    upper = f"to {edges[at]:g}" if at < len(edges) else "and more"
    return f"{bounds[at]:g} {upper} {unit}"


def _truth(path: Path, folder: Path) -> Truth:
    meta = _meta(folder / f"meta/{path.stem}.json")
    states = _plane(folder / f"states/{path.stem}.png")
    ground_file = folder / f"ground/{path.stem}.png"
    ground = _plane(ground_file) > 0 if ground_file.is_file() else states != State.CANNOT_TELL
    if ground.shape != states.shape:
        raise Unreadable(f"ground and states of {path.stem} differ in size", "Mend the labelled folder", str(folder))
    if not np.isin(states, list(State)).all():
        raise Unreadable("holds a code that is no state", "Mend the labelled folder", f"states/{path.stem}.png")
    scale = meta.get("mm_per_px", 0)
    known = float(scale) if _number(scale) and scale > 0 else None
    return Truth(path, states, ground, str(meta.get("group") or path.stem), known, split_of(meta))


def _meta(path: Path) -> dict[str, Any]:
    if not path.is_file():
        return {}
    try:
        meta = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise Unreadable(f"is no JSON ({error})", "Mend the labelled folder", f"meta/{path.name}") from error
    return meta if isinstance(meta, dict) else {}


def _plane(path: Path) -> NDArray[np.uint8]:
    data = np.fromfile(path, np.uint8)
    plane = cv2.imdecode(data, cv2.IMREAD_GRAYSCALE) if data.size else None
    if plane is None:
        raise Unreadable("is no readable picture", "Mend the labelled folder", path.name)
    return np.asarray(plane, np.uint8)
