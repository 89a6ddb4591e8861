"""Erasing for a lawful reason: a hash and the reason stay, and the log still verifies. Only a keeper may."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck.archive import Archive, FolderArchive
from prepcheck.errors import UnknownRecord, WrongUse
from prepcheck.settings import Settings
from prepcheck.store import LoggedEvent
from prepcheck.store import words as w
from prepcheck.tasks import count_folders as c
from prepcheck.tasks.people import DEFAULTS, keeping_role
from prepcheck.tasks.practice import FOLDER as PRACTICE
from prepcheck.trade.entries import Erased

if TYPE_CHECKING:
    from prepcheck.store.store import Store


@dataclass(frozen=True)
class Erasure:
    """What was erased.

    Parameters
    ----------
    events : tuple of LoggedEvent
        The entries that say so; none where that was logged before.
    counts : tuple of Treated
        What was done in each folder of a count that was looked into.
    """

    events: tuple[LoggedEvent, ...]
    counts: tuple[c.Treated, ...] = ()


def erase_person(
    store: Store,
    name: str,
    *,
    reason: str,
    by: str,
    pin: str | None,
    at: datetime,
    settings: Settings = DEFAULTS,
    counts: Sequence[Path] = (),
) -> Erasure:
    """Take a person's name and PIN out of the log, and the name off the forms of counts; what they did stays.

    It is told of a number. Forms are looked for in the counts of the store's folder and in `counts`. A name that somebody
    wrote into a note or a job's title is not found by this: erase that entry. Forms go first: when this is cut short, the
    log still has the name, and asking again finishes it.
    """
    keeper, why = _asked(by, reason)
    role = keeping_role(store, keeper, pin, at, settings)
    who = w.clean(name, "the person's name")
    if w.folded(who) == w.folded(keeper):
        raise WrongUse("a keeper cannot erase themselves", "Ask another keeper", who)
    folders = c.folders_known(store.folder, counts)
    number = next((one.number for one in store.people() if w.folded(one.name) == w.folded(who)), None)
    if number is None and any(c.name_stands_in(folder, who) for folder in folders):
        entry = Erased(what="a name that stood on forms of counts alone", sha256="", reason=why)
        event = store.add_event(None, entry, keeper, at, role)
        return Erasure((event,), _names_taken(folders, who, f"erased by entry {event.number}"))
    taken = () if number is None else _names_taken(folders, who, f"erased person {number}")
    return Erasure((store.erase_person(who, reason=why, by=keeper, at=at, role=role),), taken)


def erase_job(
    store: Store, number: str, *, reason: str, by: str, pin: str | None, at: datetime, settings: Settings = DEFAULTS
) -> LoggedEvent:
    """Take a job's title, part and customer reference out of the log, which may name a customer; all else stays."""
    keeper, why = _asked(by, reason)
    role = keeping_role(store, keeper, pin, at, settings)
    return store.erase_job(w.job_number(number), reason=why, by=keeper, at=at, role=role)


def erase_entry(
    store: Store, number: int, *, reason: str, by: str, pin: str | None, at: datetime, settings: Settings = DEFAULTS
) -> LoggedEvent:
    """Take the text of an entry out of the log; steps, seals and erasures stay."""
    keeper, why = _asked(by, reason)
    role = keeping_role(store, keeper, pin, at, settings)
    return store.erase_event(number, reason=why, by=keeper, at=at, role=role)


def erase_photo(
    store: Store,
    archive: Archive,
    sha256: str,
    *,
    reason: str,
    by: str,
    pin: str | None,
    at: datetime,
    settings: Settings = DEFAULTS,
    counts: Sequence[Path] = (),
) -> Erasure:
    """Take a photo out of the archive, and say so in each job that shows it; its hash and what was measured stay.

    Its copies in the counts of the store's folder, in `counts` and among the photos of practice go too. The erasure is
    logged first. When it is cut short after that, asking again takes the files away and logs nothing new.
    """
    keeper, why = _asked(by, reason)
    role = keeping_role(store, keeper, pin, at, settings)
    if not re.fullmatch("[0-9a-f]{64}", sha256):
        raise WrongUse(
            "is no SHA-256", "Give the photo's 64 hex digits", sha256[:80], command="prepcheck job show --json"
        )
    folders, practised = c.folders_known(store.folder, counts), FolderArchive(store.folder / PRACTICE)
    try:
        told = store.tell_photo_erased(sha256, reason=why, by=keeper, at=at, role=role)
    except UnknownRecord:
        if not (practised.has(sha256) or any(c.photo_lies_in(folder, sha256) for folder in folders)):
            raise
        told = [store.add_event(None, Erased(what="photo", sha256=sha256, reason=why), keeper, at, role)]
    archive.erase(sha256)
    practised.erase(sha256)
    taken = tuple(c.take_photo(folder, sha256) for folder in folders)
    return Erasure(tuple(told), taken)


def _names_taken(folders: Sequence[Path], name: str, alias: str) -> tuple[c.Treated, ...]:
    return tuple(c.take_name(folder, name, alias) for folder in folders)


def _asked(by: str, reason: str) -> tuple[str, str]:
    return w.clean(by, "the keeper's name"), w.clean(reason, "the reason", w.NOTE)
