"""Erasing for a lawful reason: a hash and the reason stay, and the log still verifies. Only a keeper may."""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING

from prepcheck.archive import Archive
from prepcheck.errors import WrongUse
from prepcheck.settings import Settings
from prepcheck.store import LoggedEvent
from prepcheck.store import words as w
from prepcheck.tasks.people import DEFAULTS, keeping_role

if TYPE_CHECKING:
    from prepcheck.store.store import Store


def erase_person(
    store: Store, name: str, *, reason: str, by: str, pin: str | None, at: datetime, settings: Settings = DEFAULTS
) -> LoggedEvent:
    """Take a person's name and PIN out of the log; their entries stay, told of a number.

    A name that somebody wrote into a note or a job's title is not found by this: erase that entry.
    """
    keeper, why = _asked(by, reason)
    role = keeping_role(store, keeper, pin, at, settings)
    who = w.clean(name, "the person's name")
    if w.folded(who) == w.folded(keeper):
        raise WrongUse("a keeper cannot erase themselves", "Ask another keeper", who)
    return store.erase_person(who, reason=why, by=keeper, at=at, role=role)


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
) -> list[LoggedEvent]:
    """Take a photo out of the archive, and say so in each job that shows it; its hash and what was measured stay.

    The erasure is logged first. When it is cut short after that, asking again takes the file away and logs nothing new.
    """
    keeper, why = _asked(by, reason)
    role = keeping_role(store, keeper, pin, at, settings)
    if not re.fullmatch("[0-9a-f]{64}", sha256):
        raise WrongUse(
            "is no SHA-256", "Give the photo's 64 hex digits", sha256[:80], command="prepcheck job show --json"
        )
    told = store.tell_photo_erased(sha256, reason=why, by=keeper, at=at, role=role)
    archive.erase(sha256)
    return told


def _asked(by: str, reason: str) -> tuple[str, str]:
    return w.clean(by, "the keeper's name"), w.clean(reason, "the reason", w.NOTE)
