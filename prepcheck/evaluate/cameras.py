"""Photos of one place with known cameras: how each truly lies on the others, and how the aligner lays it.

Layout: the evaluation folder of the design, section 5; ``meta/NAME.json`` also gives ``group`` (photos of one place),
``to_first`` (homography, full-size pixels to those of the group's first photo), ``to_mm`` (homography to mm on the part;
``mm_per_px`` stands in), and for grinding passes ``pass_no``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.errors import Unreadable
from prepcheck.photo import Plane, read
from prepcheck.photo.align import SIDE, Alignment, NotAligned
from prepcheck.photo.align import align as lay
from prepcheck.settings import Settings

Matrix = NDArray[np.float64]
Labels = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class KnownView:
    """One photo of a group.

    Parameters
    ----------
    path : Path
        The photo.
    pass_no : int or None
        Number of the grinding pass it shows; None in a moved-light set.
    states : ndarray, shape (h, w), uint8
        State codes.
    ground : ndarray, shape (h, w), bool
        True ground area.
    to_first : ndarray, shape (3, 3), float64
        Homography from its pixels to those of the group's first photo.
    plane : Plane
        From its pixels to mm on the part.
    card : bool
        A scale card lies in view.
    """

    path: Path
    pass_no: int | None
    states: Labels = field(repr=False)
    ground: NDArray[np.bool_] = field(repr=False)
    to_first: Matrix = field(repr=False)
    plane: Plane = field(repr=False)
    card: bool


Align = Callable[[KnownView, KnownView], Alignment | NotAligned]
"""Lays the second photo on the first, or says why not."""


def read_groups(folder: Path) -> Iterator[tuple[str, tuple[KnownView, ...]]]:
    """Read the groups of a folder that hold two photos or more: passes in their order, sets by name.

    Raises
    ------
    Unreadable
        There is none, or a file says something else.
    """
    metas = [(path.stem, _meta(path)) for path in sorted((folder / "meta").glob("*.json"))]
    rows = sorted(
        (str(meta["group"]), int(meta.get("pass_no", 0)), name, meta) for name, meta in metas if "group" in meta
    )
    groups = [(group, list(of)) for group, of in groupby(rows, key=lambda row: row[0])]
    groups = [(group, of) for group, of in groups if len(of) > 1]
    if not groups:
        raise Unreadable("holds no group of two photos or more", "See the layout in the docs", str(folder))
    for group, of in groups:
        yield group, tuple(_view(folder, name, meta) for _, _, name, meta in of)


def read_labels(path: Path) -> Labels:
    """Read a picture of codes, shape (h, w), uint8.

    Raises
    ------
    Unreadable
        It is no picture.
    """
    plane = cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_GRAYSCALE) if path.is_file() else None
    if plane is None:
        raise Unreadable("is no readable picture", "Mend the labelled folder", str(path))
    return np.asarray(plane, np.uint8)


def true_align(base: KnownView, other: KnownView) -> Alignment:
    """Return the true way from the other photo to the base."""
    return Alignment(np.asarray(np.linalg.solve(base.to_first, other.to_first)))


def found_align(settings: Settings) -> Align:
    """Return the way that the aligner finds in the photos."""

    def align(base: KnownView, other: KnownView) -> Alignment | NotAligned:
        return lay(read(base.path, settings), read(other.path, settings), settings)

    return align


def shaken(error_px: float, seed: int = 7) -> Align:
    """Return an alignment that is off by a shift of `error_px` at a long side of 1280, in a random direction, and says so."""
    rng = np.random.default_rng(seed)

    def align(base: KnownView, other: KnownView) -> Alignment:
        turn, length = rng.uniform(0, 2 * np.pi), error_px * max(base.states.shape) / SIDE
        shift = np.array([[1, 0, length * np.cos(turn)], [0, 1, length * np.sin(turn)], [0, 0, 1.0]])
        return Alignment(shift @ true_align(base, other).matrix, error_px)

    return align


def _view(folder: Path, name: str, meta: dict[str, Any]) -> KnownView:
    to_mm = meta.get("to_mm", np.diag([meta["mm_per_px"], meta["mm_per_px"], 1.0]))
    return KnownView(
        path=next((folder / "images").glob(f"{name}.*"), folder / "images" / name),
        pass_no=int(meta["pass_no"]) if "pass_no" in meta else None,
        states=read_labels(folder / f"states/{name}.png"),
        ground=read_labels(folder / f"ground/{name}.png") > 0,
        to_first=np.asarray(meta.get("to_first", np.eye(3)), np.float64).reshape(3, 3),
        plane=Plane(np.asarray(to_mm, np.float64).reshape(3, 3), 0.0, "stated"),
        card=meta.get("card", "none") != "none",
    )


def _meta(path: Path) -> dict[str, Any]:
    try:
        meta = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise Unreadable(f"is no JSON ({error})", "Mend the labelled folder", f"meta/{path.name}") from error
    return meta if isinstance(meta, dict) else {}
