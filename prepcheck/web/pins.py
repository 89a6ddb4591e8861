"""Signing in by PIN with an answer that does not tell whether a name is in the log.

Wrong PINs of people are counted in the log. Those of names that are nobody's are counted here, in memory, so that they lock
after as many and are told in the same words. Who has no PIN cannot sign in and is nobody here.
"""

from __future__ import annotations

import threading
from datetime import datetime
from typing import TYPE_CHECKING

from prepcheck import tasks
from prepcheck.errors import WrongPin
from prepcheck.settings import Settings
from prepcheck.store import Person, PinCheck
from prepcheck.store import words as w

if TYPE_CHECKING:
    from prepcheck.store.store import Store

_MOST = 10_000
"""Names that are counted; beyond these the oldest are forgotten."""


class Pins:
    """The PINs of a log, asked for by phones."""

    def __init__(self, store: Store, settings: Settings) -> None:
        self._store, self._settings = store, settings
        self._strangers: dict[str, PinCheck] = {}
        self._lock = threading.Lock()

    def check(self, name: str, pin: str, at: datetime) -> Person:
        """Return the person whose name and PIN these are.

        Raises
        ------
        WrongPin, PinLocked
            The name is nobody's or the PIN not theirs; too many wrong ones in a row.
        """
        name = w.clean(name, "the person's name")
        if any(one.has_pin and w.folded(one.name) == w.folded(name) for one in tasks.list_people(self._store)):
            return tasks.check_pin(self._store, name, pin, at=at, settings=self._settings)
        held = self._held(name)
        try:
            tasks.refuse_stranger(held, pin, at=at, settings=self._settings)
        except WrongPin:
            self._count(held, at)
            raise

    def _held(self, name: str) -> PinCheck:
        with self._lock:
            known = self._strangers.get(w.folded(name))
        wrong, last = (0, None) if known is None else (known.wrong, known.last_wrong)
        return PinCheck(Person(0, name), "", wrong, last)

    def _count(self, held: PinCheck, at: datetime) -> None:
        with self._lock:
            self._strangers.pop(w.folded(held.person.name), None)  # so that the newest stands last
            self._strangers[w.folded(held.person.name)] = PinCheck(held.person, "", held.wrong + 1, w.stamp(at))
            while len(self._strangers) > _MOST:
                self._strangers.pop(next(iter(self._strangers)))
