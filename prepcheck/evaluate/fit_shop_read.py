"""Reads what a shop labelled on its own photos, and asks the tool about the same places.

A folder is read as what it holds: the folder of a count (``prepcheck count``) with its filled forms; ``states/NAME.png`` beside
``images/NAME``, in which a person brushed the states of some places (255 elsewhere); or ``points.json`` with labels. The two
latter are the layout of an evaluation folder (design, section 5). Only bright metal and residue are compared: away from spots
other words are as right.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.agreement.folder import FORMS, read_count
from prepcheck.agreement.form import Counted
from prepcheck.agreement.told import read_photo
from prepcheck.errors import Unreadable, WrongUse
from prepcheck.evaluate.fit_shop import Labelled
from prepcheck.evaluate.truth import read_points, read_truths
from prepcheck.inspection import see
from prepcheck.photo import Photo, read
from prepcheck.photo.picture_hash import hash_distance
from prepcheck.settings import Settings
from prepcheck.surface import Model, SurfaceMap
from prepcheck.terms import FLAGS, RESIDUE, State

Codes = NDArray[np.uint8]
Points = NDArray[np.float64]
SIDES = (State.BRIGHT, *RESIDUE)


@dataclass(frozen=True)
class Read:
    """What was read: labelled photos, photos left out with the reason, and points on which people contradict each other."""

    photos: tuple[Labelled, ...]
    left_out: tuple[tuple[str, str], ...] = ()
    contradicted: int = 0


@dataclass(frozen=True, eq=False)
class _Source:
    """A photo with what was said of it: of points (n, 2), or of each of its pixels when `points` is None."""

    photo: Photo
    kind: Literal["counted", "brushed"]
    labels: Codes = field(repr=False)
    points: Points | None = field(default=None, repr=False)
    scene: str = ""
    contradicted: int = 0


@dataclass(frozen=True)
class _Found:
    """A labelled photo, and what tells whether another one shows the same."""

    labelled: Labelled
    picture_hash: str
    scene: str


def read_labelled(
    folders: Sequence[Path], model: Model, settings: Settings, heard: Callable[[str], None] = lambda name: None
) -> Read:
    """Read the labelled photos of folders and look at each once.

    Parameters
    ----------
    folders : sequence of Path
        See the top of this module.
    model : Model
        Without a fit.
    settings : Settings
        How photos are looked at, and which of them show the same.
    heard : callable
        Hears the name of each photo before it is looked at.

    Raises
    ------
    WrongUse
        A folder holds nothing labelled, a form or map does not belong to its photo, or one folder is named twice.
    BrokenInput
        A photo or a labelled map cannot be read.
    """
    if len({folder.resolve() for folder in folders}) < len(folders):
        raise WrongUse("one folder is named twice", "Name each folder once")
    found: list[_Found] = []
    left_out: list[tuple[str, str]] = []
    contradicted = 0
    for source in (one for folder in folders for one in _sources(folder, settings)):
        heard(source.photo.name)
        contradicted += source.contradicted
        labelled = _look(source, model, settings)
        if isinstance(labelled, str):
            left_out.append((source.photo.name, labelled))
        else:
            found.append(_Found(labelled, source.photo.picture_hash, source.scene))
    return Read(_grouped(found, settings.store.near_duplicate_bits), tuple(left_out), contradicted)


def _sources(folder: Path, settings: Settings) -> Iterator[_Source]:
    counted, brushed = (folder / FORMS).is_dir(), (folder / "states").is_dir()
    if counted:
        yield from _counted(folder, settings)
    elif (folder / "points.json").is_file():
        yield from _listed(folder, settings)
    if brushed:
        yield from _brushed(folder, settings)
    if not (counted or brushed or (folder / "points.json").is_file()):
        raise WrongUse(
            "holds no counted and no brushed photos",
            "Give a folder of prepcheck count, or one with states/",
            str(folder),
        )


def _counted(folder: Path, settings: Settings) -> Iterator[_Source]:
    by_photo: dict[str, list[Counted]] = {}
    count = read_count(folder)
    for made in count.by_person().values():
        for one, form in made:
            by_photo.setdefault(one.sha256, []).append(form)
    for one in count.fields:
        if forms := by_photo.get(one.sha256):
            labels, contradicted = agreed(forms)
            _, photo = read_photo(folder / one.file, one, settings)
            yield _Source(photo, "counted", labels, one.points, contradicted=contradicted)


def agreed(forms: Sequence[Counted]) -> tuple[Codes, int]:
    """Return the first person's label of each point, and on how many points people contradict each other.

    Where one says bright metal and another residue, and on a boundary, a point is not told.
    """
    labels = np.full(len(forms[0].labels), State.CANNOT_TELL, np.uint8)
    contradicted = 0
    for at, said in enumerate(zip(*(form.labels for form in forms), strict=True)):
        if any(len(label) > 1 or label[0] not in SIDES for label in said):
            continue
        if len({label[0] == State.BRIGHT for label in said}) > 1:
            contradicted += 1
        else:
            labels[at] = said[0][0]
    return labels, contradicted


def _listed(folder: Path, settings: Settings) -> Iterator[_Source]:
    for one in read_points(folder):
        yield _Source(read(one.path, settings), "counted", one.labels, one.points)


def _brushed(folder: Path, settings: Settings) -> Iterator[_Source]:
    for truth in read_truths(folder):
        photo = read(truth.path, settings)
        if truth.states.shape != (photo.height, photo.width):
            raise Unreadable("has another size than its photo", "Brush it anew", f"states/{truth.path.stem}.png")
        yield _Source(
            photo, "brushed", np.where(truth.ground, truth.states, np.uint8(State.CANNOT_TELL)), scene=truth.group
        )


def _look(source: _Source, model: Model, settings: Settings) -> Labelled | str:
    """Return the labelled places of a photo that can be compared, or why it is left out."""
    seen = see(source.photo, model, settings)
    if unfit := [FLAGS[flag.code].name for flag in seen.flags if flag.blocking]:
        return f"not fit to judge: {', '.join(unfit)}"
    rows, columns, labels = _places(source, seen.surface, settings.shop_fit.brushed_points)
    if not len(labels):
        return "nothing labelled that can be compared"
    assert seen.surface.chances is not None
    chances = seen.surface.chances[:, rows, columns]
    said = hashlib.sha256(np.stack([rows, columns, labels]).astype("<i8").tobytes()).hexdigest()
    return Labelled(source.photo.name, source.photo.sha256, source.kind, said, "", chances, labels)


def _places(source: _Source, surface: SurfaceMap, most: int) -> tuple[NDArray[np.int64], NDArray[np.int64], Codes]:
    """Return rows and columns of the map's pixels that are compared, and their labels."""
    height, width = surface.states.shape
    if source.points is None:
        plane = cv2.resize(source.labels, (width, height), interpolation=cv2.INTER_NEAREST_EXACT)
        rows, columns = np.nonzero(np.isin(plane, SIDES) & ~surface.burnt)
        some = np.unique(np.linspace(0, len(rows) - 1, min(most, len(rows))).round().astype(np.int64))
        return rows[some], columns[some], np.asarray(plane[rows[some], columns[some]], np.uint8)
    columns, rows = np.round(surface.from_full(source.points)).astype(np.int64).T
    rows, columns = rows.clip(0, height - 1), columns.clip(0, width - 1)
    kept = np.isin(source.labels, SIDES) & ~surface.burnt[rows, columns]
    return rows[kept], columns[kept], source.labels[kept]


def _grouped(found: Sequence[_Found], near_bits: int) -> tuple[Labelled, ...]:
    """Give photos of one scene, and those that look the same, one group."""
    groups = list(range(len(found)))
    for at, one in enumerate(found):
        for before, other in enumerate(found[:at]):
            if groups[at] != groups[before] and _same(one, other, near_bits):
                groups = [groups[before] if group == groups[at] else group for group in groups]
    return tuple(replace(one.labelled, group=str(group)) for one, group in zip(found, groups, strict=True))


def _same(one: _Found, other: _Found, near_bits: int) -> bool:
    if one.labelled.sha256 == other.labelled.sha256 or (one.scene and one.scene == other.scene):
        return True
    if not (one.picture_hash and other.picture_hash):
        return False
    return hash_distance(one.picture_hash, other.picture_hash) <= near_bits
