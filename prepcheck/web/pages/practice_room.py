"""What the pages of practice and counting share: the room, photos to choose from, and pictures of photos."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from fastapi import Response

from prepcheck import tasks
from prepcheck.errors import NotAllowed, UnknownRecord, WrongUse
from prepcheck.photo import Photo, from_bytes
from prepcheck.samples import sample_of, unseen
from prepcheck.store import JobLine
from prepcheck.store.words import folded
from prepcheck.surface import load_model
from prepcheck.tasks.practice import Room, Session, Shown, find_practice, open_room, show_practice
from prepcheck.tasks.shop_fit import shop_model
from prepcheck.web.pages.desk import Desk
from prepcheck.web.pictures import jpeg, reduced
from prepcheck.web.shop import Shop

MOST_JOBS = 12
"""Jobs whose photos are offered at once."""
THUMB_PX = 240
_PRIVATE = {"Cache-Control": "private, max-age=600"}
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True)
class Choice:
    """A photo that can be chosen: `value` is sent, `thumb` shows it without any mark."""

    value: str
    name: str
    thumb: str


@lru_cache(maxsize=4)
def room_of(shop: Shop) -> Room:
    """Return the room of a shop."""
    return open_room(shop.folder, (shop.store, shop.archive), sample_of, shop.settings)


def sample_choices() -> tuple[Choice, ...]:
    """Return the samples, under names that do not tell what they show."""
    return tuple(
        Choice(f"{sha256} {name}", name, f"/practice/samples/{number}.jpg")
        for number, (name, sha256) in enumerate(unseen(), 1)
    )


def job_choices(desk: Desk, number: str) -> tuple[Choice, ...]:
    """Return the photos of a job, each once."""
    found = {choice.value.partition(" ")[0]: choice for choice in _of_job(desk, number)}
    return tuple(found.values())


def jobs_with_photos(desk: Desk) -> tuple[JobLine, ...]:
    """Return the newest jobs that have photos."""
    return tuple(line for line in tasks.list_jobs(desk.store) if line.inspections)[:MOST_JOBS]


def chosen_photos(values: list[str]) -> list[tuple[str, str]]:
    """Read what was chosen: names with the SHA-256 of each photo."""
    if not values:
        raise WrongUse("no photo is chosen", "Choose at least one")
    pairs = [value[:300].partition(" ") for value in values]
    return [(name or "photo", sha256) for sha256, _, name in pairs]


def own_session(room: Room, number: int, person: str) -> Session:
    """Return a session of who is signed in; `NotAllowed` for somebody else's."""
    found = find_practice(room, number)
    if folded(found.person) != folded(person):
        raise NotAllowed("this is somebody else's practice session", "Begin one of your own", person)
    return found


def photo_of(room: Room, sha256: str, name: str) -> Photo:
    """Return a photo, read once for the pictures of a page; `UnknownRecord` when it was erased meanwhile."""
    room.check_photo(sha256)
    return _read(room, sha256, name)


@lru_cache(maxsize=3)
def _read(room: Room, sha256: str, name: str) -> Photo:
    return from_bytes(room.photo_bytes(sha256), name, room.settings)


def picture(photo: Photo, long: int) -> bytes:
    """Return a photo as JPEG with a long side of at most `long` pixels."""
    return jpeg(reduced(photo.rgb, long))


@lru_cache(maxsize=64)
def sample_thumb(room: Room, number: int) -> bytes:
    """Return a small picture of a sample, by its place in the list; `UnknownRecord` when there is none."""
    choices = unseen()
    if not 1 <= number <= len(choices):
        raise UnknownRecord("no such sample", "Choose one of the list", str(number))
    name, sha256 = choices[number - 1]
    return picture(photo_of(room, sha256, name), THUMB_PX)


def picture_answer(data: bytes, kind: str = "image/jpeg") -> Response:
    """Return a picture that only this browser keeps, for a while."""
    return Response(data, media_type=kind, headers=_PRIVATE)


def shown_photo(shop: Shop, session: Session, position: int) -> Shown:
    """Return a marked photo beside its answers; photos are looked at one at a time, and the last few are kept."""
    room, one = room_of(shop), session.photo(position)
    if one.sha256 not in session.marks:
        raise NotAllowed("is not marked yet; the answer stays hidden until then", "Mark it first", one.name)
    room.check_photo(one.sha256)
    with _ONE_AT_A_TIME:
        return _shown(shop, room, session.number, position)


@lru_cache(maxsize=3)
def _shown(shop: Shop, room: Room, session: int, position: int) -> Shown:
    model = shop_model(shop.store, shop.settings, load_model())
    return show_practice(room, find_practice(room, session), position, model, at=shop.clock())


def _of_job(desk: Desk, number: str) -> Iterator[Choice]:
    for spot in tasks.job_story(desk.store, number).spots:
        for each in spot.passes:
            for one in each.inspections:
                name = f"{number}, spot {spot.number}, pass {each.pass_no}"
                yield Choice(f"{one.photo_sha256} {name}", name, f"/api/inspections/{one.number}/thumb.jpg")
