"""People with roles and PINs.

A role includes the ones before it: a ``welder`` logs, a ``releaser`` also releases hold points, a ``keeper`` also names
people, gives roles and PINs, and erases. Who was only named with an entry has no role and may log. PINs keep hands off by
mistake and tie a release to a person; they are no guard against somebody who can write the log's file.
"""

from __future__ import annotations

import os
import unicodedata
from datetime import datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING, NoReturn

from prepcheck.errors import NotAllowed, PinLocked, WrongPin, WrongUse
from prepcheck.settings import PeopleSettings, Settings
from prepcheck.store import Person, PinCheck
from prepcheck.store import words as w

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.kdf.argon2 import Argon2id

    from prepcheck.store.store import Store

MOST_PIN = 64
"""Longest PIN, in characters."""
_SALT_BYTES, _KEY_BYTES = 16, 32
DEFAULTS = Settings()


class Role(StrEnum):
    """What a person may do; each includes the ones before."""

    WELDER = "welder"
    RELEASER = "releaser"
    KEEPER = "keeper"

    def includes(self, other: Role) -> bool:
        """Say whether this role may do what `other` may do."""
        roles = list(Role)
        return roles.index(self) >= roles.index(other)


def list_people(store: Store) -> list[Person]:
    """Return all people in the log, in the order in which they were first named."""
    return store.people()


def add_person(
    store: Store,
    name: str,
    role: str,
    pin: str,
    *,
    at: datetime,
    by: str | None = None,
    by_pin: str | None = None,
    settings: Settings = DEFAULTS,
) -> Person:
    """Give a person a role and a PIN. The first one of a log is its keeper; after that a keeper says so, `by` and `by_pin`.

    Raises
    ------
    WrongUse
        No such role, or no PIN that can be used.
    NotAllowed
        No keeper says so; or the only keeper would lose that role.
    """
    name, chosen = w.clean(name, "the person's name"), _role(role)
    hashed = hash_pin(pin, settings.people)
    setter = name if by is None else w.clean(by, "the keeper's name")
    if _keepers(store.people()):
        _prove(store, setter, by_pin, Role.KEEPER, at, settings)

    def allow(people: list[Person]) -> None:
        keepers = _keepers(people)
        if not keepers and (chosen is not Role.KEEPER or by is not None):
            raise NotAllowed("the log has no keeper yet", "Add the keeper first, with role keeper and a PIN", name)
        if keepers and w.folded(setter) not in keepers:
            raise NotAllowed("only a keeper gives roles and PINs", "Name the keeper", setter, command="--by")
        if chosen is not Role.KEEPER and keepers == {w.folded(name)}:
            raise NotAllowed("is the only keeper of this log", "Make somebody else a keeper first", name)

    return store.set_credentials(name, chosen, hashed, by=setter, at=at, allow=allow)


def set_pin(store: Store, name: str, pin: str, *, old_pin: str, at: datetime, settings: Settings = DEFAULTS) -> Person:
    """Change one's own PIN; the role stays."""
    person = check_pin(store, name, old_pin, at=at, settings=settings)
    hashed = hash_pin(pin, settings.people)

    def allow(people: list[Person]) -> None:
        if person not in people:
            raise NotAllowed("was changed by somebody meanwhile", "Try again", name)

    return store.set_credentials(person.name, person.role, hashed, by=person.name, at=at, allow=allow)


def check_pin(store: Store, name: str, pin: str, *, at: datetime, settings: Settings = DEFAULTS) -> Person:
    """Return the person if the PIN is right; each try is logged, and too many wrong ones in a row lock for a while.

    Raises
    ------
    UnknownRecord
        No such person.
    NotAllowed
        The person has no PIN.
    PinLocked
        Too many wrong PINs; this one was not looked at.
    WrongPin
        It was not right.
    """
    name, given = w.clean(name, "the person's name"), _normal(pin)
    wrong_before = 0

    def is_right(held: PinCheck) -> bool:
        nonlocal wrong_before
        wrong_before = held.wrong
        return _is_right(held, given, at, settings.people)

    person = store.try_pin(name, at, is_right)
    if person is None:
        raise _wrong(wrong_before + 1, name, at, settings.people)
    return person


def refuse_stranger(held: PinCheck, pin: str, *, at: datetime, settings: Settings = DEFAULTS) -> NoReturn:
    """Refuse somebody whose name is not in the log in the words, and after the time, of a wrong PIN of somebody who is.

    Raises
    ------
    PinLocked, WrongPin
        As `check_pin` does, from the wrong ones in a row that `held` tells.
    """
    _check_lock(held, at, settings.people)
    _argon2(settings.people).derive(_normal(pin).encode())
    raise _wrong(held.wrong + 1, held.person.name, at, settings.people)


def proved_role(store: Store, name: str, pin: str | None, at: datetime, settings: Settings) -> str:
    """Return the role that a person proves with a PIN; empty without a PIN."""
    return "" if pin is None else check_pin(store, name, pin, at=at, settings=settings).role


def releasing_role(store: Store, name: str, pin: str | None, at: datetime, settings: Settings) -> str:
    """Return the role with which a person releases a hold point.

    Until somebody in the log has a releasing role, anybody named may release, without a role.
    """
    if any(_may(person, Role.RELEASER) for person in store.people()):
        return _prove(store, name, pin, Role.RELEASER, at, settings)
    return proved_role(store, name, pin, at, settings)


def keeping_role(store: Store, name: str, pin: str | None, at: datetime, settings: Settings) -> str:
    """Return the role with which a person keeps the log; only a keeper has it."""
    return _prove(store, name, pin, Role.KEEPER, at, settings)


def hash_pin(pin: str, settings: PeopleSettings) -> str:
    """Return the Argon2id hash of a PIN as a PHC string, with a salt of its own."""
    normal = _normal(pin)
    if not settings.pin_least <= len(normal) <= MOST_PIN:
        raise WrongUse(f"a PIN has {settings.pin_least} to {MOST_PIN} characters", "Choose another")
    if not normal.isprintable():
        raise WrongUse("a PIN holds characters that can be typed", "Choose another")
    return _argon2(settings).derive_phc_encoded(normal.encode())


def _argon2(settings: PeopleSettings) -> Argon2id:
    from cryptography.hazmat.primitives.kdf.argon2 import Argon2id

    return Argon2id(
        salt=os.urandom(_SALT_BYTES),
        length=_KEY_BYTES,
        iterations=settings.hash_passes,
        lanes=settings.hash_lanes,
        memory_cost=max(settings.hash_memory_kib, 8 * settings.hash_lanes),
    )


def _is_right(held: PinCheck, given: str, at: datetime, settings: PeopleSettings) -> bool:
    from cryptography.exceptions import InvalidKey
    from cryptography.hazmat.primitives.kdf.argon2 import Argon2id

    if not held.pin:
        raise NotAllowed("has no PIN", "A keeper gives one", held.person.name, command="prepcheck person add")
    _check_lock(held, at, settings)
    try:
        Argon2id.verify_phc_encoded(given.encode(), held.pin)
    except InvalidKey:
        return False
    return True


def _check_lock(held: PinCheck, at: datetime, settings: PeopleSettings) -> None:
    if held.last_wrong is None or held.wrong < settings.wrong_pins:
        return
    last = datetime.fromisoformat(held.last_wrong)
    if at < last + timedelta(minutes=settings.locked_minutes):
        what = f"is locked after {held.wrong} wrong PINs"
        raise PinLocked(what, _try_again(last, settings), held.person.name)


def _prove(store: Store, name: str, pin: str | None, role: Role, at: datetime, settings: Settings) -> str:
    if pin is None:
        raise NotAllowed(f"this needs the PIN of a {role}", "Give the PIN", name)
    person = check_pin(store, name, pin, at=at, settings=settings)
    if not _may(person, role):
        raise NotAllowed(f"is no {role}", "Ask somebody who is", person.name, command="prepcheck person list")
    return person.role


def _may(person: Person, role: Role) -> bool:
    return person.has_pin and person.role in list(Role) and Role(person.role).includes(role)


def _keepers(people: list[Person]) -> set[str]:
    return {w.folded(person.name) for person in people if _may(person, Role.KEEPER)}


def _role(text: str) -> Role:
    word = w.clean(text, "the role").lower()
    if word not in list(Role):
        raise WrongUse("is no role", f"Use one of: {', '.join(Role)}", word)
    return Role(word)


def _normal(pin: str) -> str:
    return unicodedata.normalize("NFC", pin.strip())


def _wrong(count: int, name: str, at: datetime, settings: PeopleSettings) -> WrongPin:
    """Return the refusal of a wrong PIN, the last of `count` in a row; the one that locks says until when."""
    if count >= settings.wrong_pins:
        what = f"this is not the PIN, and after {count} wrong ones in a row none is looked at for a while"
        return WrongPin(what, _try_again(at, settings), name)
    do = f"Try again; {settings.wrong_pins} wrong ones in a row lock for {settings.locked_minutes:g} min"
    return WrongPin("this is not the PIN", do, name)


def _try_again(last_wrong: datetime, settings: PeopleSettings) -> str:
    return f"Try again after {last_wrong + timedelta(minutes=settings.locked_minutes):%H:%M}"
