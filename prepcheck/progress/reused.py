"""Photos that were logged more than once, look alike, or are older than their entry: questions to a person. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import pairwise

HASH_BITS = 64


@dataclass(frozen=True)
class LoggedPhoto:
    """A photo where it was logged.

    `taken` is the camera's own time and may lack an offset; `picture_hash` is the perceptual hash, 16 hex digits, empty
    where there is none; `outline` is the number of the spot's outline in it; `roots` are the inspections that this one
    corrects, one after the other.
    """

    inspection: int
    job: str
    spot: int
    pass_no: int
    person: str
    at: datetime
    sha256: str
    name: str
    picture_hash: str
    taken: str | None
    outline: int | None = None
    roots: frozenset[int] = frozenset()

    def shows_other_spot(self, other: LoggedPhoto) -> bool:
        """Say whether both are one photo of several spots of a job, logged once for each of them in the same pass."""
        one_photo = (self.sha256, self.job, self.pass_no) == (other.sha256, other.job, other.pass_no)
        return one_photo and None not in (self.outline, other.outline) and self.outline != other.outline


class Why(StrEnum):
    """What makes a photo worth a question."""

    SAME = "the same bytes"
    ALIKE = "nearly the same picture"
    OLD = "taken well before it was logged"
    LATER = "taken after it was logged"


@dataclass(frozen=True)
class Question:
    """A photo and, for copies, the one logged before it; `measured` says by how much."""

    why: Why
    photo: LoggedPhoto
    earlier: LoggedPhoto | None
    measured: str = ""

    @property
    def people(self) -> set[str]:
        """Who logged these photos."""
        return {one.person for one in (self.photo, self.earlier) if one is not None}


def questions(photos: Sequence[LoggedPhoto], near_bits: int, oldest: timedelta, slack: timedelta) -> Iterator[Question]:
    """Ask about photos, in the order in which they were logged; at most one earlier photo is named for each.

    Photos of one pass may look alike, a correction shows the photo it corrects, and one photo may show several spots; none
    of these is asked about. Two photos that name different capture times were taken twice, however alike they look.

    Parameters
    ----------
    photos : sequence of LoggedPhoto
        In any order.
    near_bits : int
        Bits of 64 up to which two pictures look the same.
    oldest : timedelta
        By how much a photo may be older than its entry.
    slack : timedelta
        By how much the clocks of camera and log may differ.
    """
    alike = _Alike(near_bits)
    same: dict[str, list[LoggedPhoto]] = defaultdict(list)
    for photo in sorted(photos, key=lambda one: one.inspection):
        copy = next((one for one in same[photo.sha256] if _elsewhere(photo, one)), None)
        if copy is not None:
            yield Question(Why.SAME, photo, copy)
        elif (near := alike.nearest(photo)) is not None:
            yield Question(Why.ALIKE, photo, near[1], f"{near[0]} of {HASH_BITS} bits differ")
        yield from _by_time(photo, oldest, slack)
        same[photo.sha256].append(photo)
        alike.add(photo)


def _elsewhere(photo: LoggedPhoto, earlier: LoggedPhoto) -> bool:
    one_pass = (photo.job, photo.spot, photo.pass_no) == (earlier.job, earlier.spot, earlier.pass_no)
    return not (one_pass or earlier.inspection in photo.roots or photo.shows_other_spot(earlier))


def _by_time(photo: LoggedPhoto, oldest: timedelta, slack: timedelta) -> Iterator[Question]:
    age = age_of(photo)
    if age is not None and age > oldest:
        yield Question(Why.OLD, photo, None, f"{_span(age)} before")
    elif age is not None and age < -slack:
        yield Question(Why.LATER, photo, None, f"{_span(-age)} after")


def age_of(photo: LoggedPhoto) -> timedelta | None:
    """Return how long before its entry a photo was taken; None where the camera told no time that can be read.

    A camera's time without an offset is taken as of the offset of the entry.
    """
    try:
        taken = datetime.fromisoformat(photo.taken or "")
        return photo.at - (taken if taken.tzinfo else taken.replace(tzinfo=photo.at.tzinfo))
    except (ValueError, OverflowError):
        return None


def _span(time: timedelta) -> str:
    hours = time / timedelta(hours=1)
    if hours < 1:
        return f"{time / timedelta(minutes=1):.0f} min"
    return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"


class _Alike:
    """Finds pictures within `bits` of each other without comparing all with all.

    Of `bits` + 1 pieces of two such hashes at least one is the same (pigeonhole), so only photos that share a piece are
    compared; nothing is overlooked.
    """

    def __init__(self, bits: int) -> None:
        self._bits = bits
        edges = [round(k * HASH_BITS / (bits + 1)) for k in range(bits + 2)]
        self._pieces = [(low, (1 << (high - low)) - 1) for low, high in pairwise(edges)]
        self._found: dict[tuple[int, int], list[tuple[int, LoggedPhoto]]] = defaultdict(list)

    def add(self, photo: LoggedPhoto) -> None:
        """Remember a photo."""
        for key in self._keys(photo):
            self._found[key].append((int(photo.picture_hash, 16), photo))

    def nearest(self, photo: LoggedPhoto) -> tuple[int, LoggedPhoto] | None:
        """Return the distance in bits and the remembered photo that looks most like this one; the first of equals."""
        near = {
            (distance, one.inspection): one
            for key in self._keys(photo)
            for value, one in self._found[key]
            if (distance := (value ^ int(photo.picture_hash, 16)).bit_count()) <= self._bits and _may_copy(photo, one)
        }
        return (min(near)[0], near[min(near)]) if near else None

    def _keys(self, photo: LoggedPhoto) -> list[tuple[int, int]]:
        if not photo.picture_hash:
            return []
        value = int(photo.picture_hash, 16)
        return [(k, value >> low & mask) for k, (low, mask) in enumerate(self._pieces)]


def _may_copy(photo: LoggedPhoto, earlier: LoggedPhoto) -> bool:
    differ = photo.taken is not None and earlier.taken is not None and photo.taken != earlier.taken
    return not differ and photo.sha256 != earlier.sha256 and _elsewhere(photo, earlier)
