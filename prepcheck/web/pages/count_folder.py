"""The counts of a shop: folders as `prepcheck count` reads and writes them, in the store's folder."""

from __future__ import annotations

import hashlib
import re
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np

from prepcheck.agreement.begun import BEGUN, Begun, read_begun
from prepcheck.agreement.compare import TOOL
from prepcheck.agreement.fields import LIST, Field, add_field, read_fields, write_fields
from prepcheck.agreement.folder import FORMS, IMAGES, Count, files_of, read_count
from prepcheck.agreement.form import Counted, read_form, write_form
from prepcheck.agreement.grid import Points, lay_grid, seed_of
from prepcheck.agreement.told import by_inspection
from prepcheck.archive.durable import make_folder, write_file
from prepcheck.errors import NameClash, UnknownRecord, WrongUse
from prepcheck.inspection import inspect, settings_sha256
from prepcheck.photo import Photo, from_bytes, read_bytes
from prepcheck.settings import Settings
from prepcheck.store import os_fault
from prepcheck.store.words import folded
from prepcheck.surface import Model, load_model
from prepcheck.tasks.count_folders import COUNTS, TOLD, list_counts
from prepcheck.tasks.practice import Room
from prepcheck.tasks.shop_fit import shop_model

MOST_COUNTS = 500
"""Each keeps copies of its photos; more are put elsewhere by hand."""
MOST_AT_ONCE = 40
"""Photos that are laid out in one go; the folder takes more later, from the command line."""
TURN = threading.Lock()
"""Held while a count is changed; one server works on a store at a time."""
_SUFFIXES = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp", "TIFF": ".tif", "HEIC": ".heic"}


@dataclass(frozen=True)
class Progress:
    """How far a person is with a count: photos that are finished, and all of them."""

    done: int
    of: int

    @property
    def finished(self) -> bool:
        """Whether nothing is left to count."""
        return self.done == self.of


def folder_of(store: Path, name: str) -> Path:
    """Return the folder of a count; `UnknownRecord` when there is none of this name."""
    if name not in list_counts(store):
        raise UnknownRecord("no such count", "Choose one of the list", name[:40])
    return store / COUNTS / name


def new_count(
    room: Room, store: Path, title: str, photos: Sequence[tuple[str, str]], points: int, *, inside: bool
) -> str:
    """Make a count and return its name.

    Parameters
    ----------
    room : Room
        Knows the photos.
    store : Path
        The store's folder.
    title : str
        What a person calls it.
    photos : sequence of (str, str)
        Names, with the SHA-256 of each.
    points : int
        About how many on each photo.
    inside : bool
        Only inside the tool's largest outline, where it finds one; over the whole photo otherwise.
    """
    if len(photos) > MOST_AT_ONCE:
        raise WrongUse(f"{len(photos)} photos are chosen", f"Choose {MOST_AT_ONCE} at most")
    fields: list[Field] = []
    files: dict[str, bytes] = {}
    for photo_name, sha256 in photos:
        data = room.photo_bytes(sha256)
        photo = from_bytes(data, photo_name, room.settings)
        fields = add_field(fields, _field(photo, photo_name, points, room, inside=inside))
        files |= files_of(fields[-1], photo, data)
    with TURN:
        if len(list_counts(store)) >= MOST_COUNTS:
            raise WrongUse(f"there are {MOST_COUNTS} counts already", "Move old ones out of the store's folder", title)
        name = _free_name(store, title)
        _write_all(store / COUNTS / name, {**files, LIST: write_fields(fields)})
    return name


def field_of(folder: Path, position: int) -> Field:
    """Return the photo at a position, from 1; `UnknownRecord` when there is none."""
    fields = read_fields(folder)
    if not 1 <= position <= len(fields):
        raise UnknownRecord(f"this count has {len(fields)} photos", "Choose one of them", f"photo {position}")
    return fields[position - 1]


def photo_in(folder: Path, one: Field, settings: Settings) -> Photo:
    """Return a photo of the count in `folder`, read once for its many points; raises as `read_photo`."""
    return _read(folder / one.file, one.sha256, one.name, settings)


def the_tool(room: Room) -> Model:
    """Return the tool as it is now, with the shop's own fit."""
    return shop_model(room.store, room.settings, load_model())


def told_by_tool(folder: Path, one: Field, room: Room) -> Counted | None:
    """Return what the tool, as it is now, told of the points of a photo; None when it was not asked yet."""
    return read_form(path) if (path := _told_path(folder, one, room)).exists() else None


def ask_tool(folder: Path, one: Field, room: Room) -> None:
    """Let the tool look at a photo, and keep what it tells of the points, apart from what people said."""
    told = by_inspection(folder, the_tool(room), room.settings)(one)
    _write(_told_path(folder, one, room), write_form(one, TOOL, told.counted.labels))


def finished_by(count: Count, person: str) -> set[str]:
    """Return the SHA-256 of the photos that a person has finished."""
    return {one.sha256 for one in count.counts if folded(one.person) == folded(person)}


def progress_of(folder: Path, person: str) -> Progress:
    """Return how far a person is."""
    count = read_count(folder)
    return Progress(len(finished_by(count, person)), len(count.fields))


def turns_of(count: Count, photo: Field, person: str) -> int:
    """Return how often a person has counted a photo to its end."""
    return sum(one.sha256 == photo.sha256 and folded(one.person) == folded(person) for one in count.counts)


def begun_by(folder: Path, photo: Field, person: str) -> Begun | None:
    """Return what a person has said so far about a photo; None where it is finished and no second turn was begun."""
    turns = turns_of(read_count(folder), photo, person)
    if turns == 0:
        return read_begun(folder, photo, person)
    again = Begun(photo, person, turn=2)
    return read_begun(folder, photo, person, 2) if turns == 1 and _begun_path(folder, again).exists() else None


def begin_again(folder: Path, photo: Field, person: str) -> None:
    """Begin a second turn; where that is begun or finished already, or the first is not, nothing happens."""
    if turns_of(read_count(folder), photo, person) == 1 and begun_by(folder, photo, person) is None:
        keep_begun(folder, Begun(photo, person, turn=2))


def keep_begun(folder: Path, begun: Begun) -> None:
    """Keep what was said so far, so that it is still there after a power cut."""
    _write(_begun_path(folder, begun), begun.to_json())


def finish(folder: Path, begun: Begun) -> None:
    """Turn what was said into a filled form, which stays; done twice it is the same form."""
    path = folder / FORMS / f"{begun.stem}.csv"
    if not path.exists():
        _write(path, begun.to_form())
    _begun_path(folder, begun).unlink(missing_ok=True)


def _begun_path(folder: Path, begun: Begun) -> Path:
    return folder / BEGUN / f"{begun.stem}.json"


@lru_cache(maxsize=3)
def _read(path: Path, sha256: str, name: str, settings: Settings) -> Photo:
    data = read_bytes(path, settings.photo.max_bytes)
    if hashlib.sha256(data).hexdigest() != sha256:
        raise WrongUse("is not the photo that the points were laid on", "Put the original back", name)
    return from_bytes(data, name, settings)


def _told_path(folder: Path, one: Field, room: Room) -> Path:
    """Return the place of the tool's answer: its own for each model, fit and settings."""
    model = the_tool(room)
    by = hashlib.sha256(f"{model.origin.sha256} {settings_sha256(room.settings, model)}".encode())
    return folder / TOLD / f"{Path(one.name).stem}.{by.hexdigest()[:12]}.csv"


def _free_name(store: Path, title: str) -> str:
    name = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:40].strip("-")
    if not name:
        raise WrongUse("the name has no plain letter or digit", "Call it something like: bowser, first count")
    if (store / COUNTS / name).exists():
        raise NameClash("there is a count of this name", "Choose another name", name)
    return name


def _field(photo: Photo, name: str, points: int, room: Room, *, inside: bool) -> Field:
    size = (photo.width, photo.height)
    laid = lay_grid(size, points, seed_of(photo.sha256), _outline(photo, room) if inside else None)
    stem = re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-")[:80] or photo.sha256[:12]
    return Field(f"{IMAGES}/{stem}{_SUFFIXES.get(photo.format, '.jpg')}", photo.sha256, size, laid)


def _outline(photo: Photo, room: Room) -> Points | None:
    """Return the tool's largest outline; None where it finds no spot."""
    spots = inspect(photo, the_tool(room), room.settings).answer.spots
    outlines = [spot.outline for spot, _ in spots]
    return max(outlines, key=lambda one: cv2.contourArea(one.astype(np.float32)), default=None)


def _write_all(folder: Path, files: dict[str, bytes]) -> None:
    for place, data in files.items():
        _write(folder / place, data)


def _write(path: Path, data: bytes) -> None:
    try:
        make_folder(path.parent)
        write_file(path, data, 0o644)
    except OSError as error:
        raise os_fault(error, path) from error
