"""Where each photo of a batch belongs in the log: by what the call says, its name, or a table beside the photos."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck.batch.names import Names
from prepcheck.batch.sidecar import Faults, Line, read_sidecar, sets_of
from prepcheck.batch.sources import Item
from prepcheck.errors import PrepcheckError, WrongUse
from prepcheck.store.words import checked_pass_no, clean, folded, job_number, spot_label

if TYPE_CHECKING:
    from prepcheck.store.store import Store

_NEEDED = ("job", "spot", "person")


@dataclass(frozen=True)
class Wanted:
    """Where a photo belongs; `pass_no` is None where the order of capture times says it."""

    job: str
    spot: str
    person: str
    pass_no: int | None = None
    outline: int | None = None
    note: str = ""


@dataclass(frozen=True)
class Placing:
    """What is known of where photos belong: a table counts more than a name, a name more than the call.

    Parameters
    ----------
    call : mapping of str to str
        Job, spot and person for all photos.
    names : Names or None
        How names are read.
    lines : mapping of str to Line
        The table, by file.
    path : str
        Of the table, for messages.
    """

    call: Mapping[str, str]
    names: Names | None = None
    lines: Mapping[str, Line] = field(default_factory=dict, repr=False)
    path: str = ""

    def of(self, name: str) -> Wanted | None:
        """Return where a photo belongs; None where job, spot or person is not known."""
        told = self._told(name)
        if any(not told.get(need) for need in _NEEDED):
            return None
        number, outline = told.get("pass_no"), told.get("outline")
        return Wanted(
            job_number(told["job"]),
            str(spot_label(told["spot"])),
            clean(told["person"], "the person's name"),
            checked_pass_no(int(number)) if number else None,
            int(outline) if outline else None,
            told.get("note", ""),
        )

    def scale_of(self, name: str) -> float | None:
        """Return the scale that the table states of a photo, in mm per pixel."""
        line = self._line(name)
        return None if line is None or "mm_per_px" not in line.told else float(line.told["mm_per_px"])

    @property
    def sets(self) -> tuple[tuple[str, ...], ...]:
        """Names of the photos of each moved-light set that the table puts together, in Unicode form NFC."""
        return tuple(sets_of(self.lines).values())

    @property
    def says_anything(self) -> bool:
        """Whether anything is said of a place in the log."""
        return bool(
            self.call or self.names or any(line.told.keys() - {"mm_per_px", "set"} for line in self.lines.values())
        )

    def _told(self, name: str) -> dict[str, str]:
        line = self._line(name)
        by_name = {} if self.names is None else self.names.of(name)
        return {**self.call, **by_name, **(line.told if line else {})}

    def _line(self, name: str) -> Line | None:
        return self.lines.get(unicodedata.normalize("NFC", name))

    def check(self, photos: Iterable[Item], store: Store | None, *, new_people: bool, photos_come: bool = False) -> int:
        """Hold all of it against the photos and the log, before any work starts; return how many photos have a place.

        Files of the table that are not there are a fault, unless `photos_come` later.

        Raises
        ------
        WrongUse
            A file of the table is not there, a job or person is not known to the log, a name says something that cannot be
            logged. All faults are told together, those of the table with their line.
        """
        faults, missing, count = Faults(self.path), dict(self.lines), 0
        known = None if store is None else _Known(store, new_people)
        for item in photos:
            line = missing.pop(unicodedata.normalize("NFC", item.name), None)
            count += self._check_one(item.name, line.number if line else 0, known, faults)
        for line in () if photos_come else missing.values():
            faults.add(line.number, f"{line.file} is not among the photos")
        faults.raise_any()
        return count

    def _check_one(self, name: str, number: int, known: _Known | None, faults: Faults) -> bool:
        try:
            wanted = self.of(name)
            if wanted is not None and known is not None:
                known.check(wanted)
        except PrepcheckError as error:
            faults.add(number, f"{name}: {error.message.rstrip('.')}")
            return False
        return wanted is not None


class _Known:
    """Jobs and people of the log, each asked for once."""

    def __init__(self, store: Store, new_people: bool) -> None:
        self._store, self._new_people = store, new_people
        self._people = {folded(person.name) for person in store.people()}
        self._jobs: set[str] = set()

    def check(self, wanted: Wanted) -> None:
        """Raise `WrongUse` for what the log does not know."""
        if wanted.job not in self._jobs:
            self._store.check_job(wanted.job)
            self._jobs.add(wanted.job)
        if not self._new_people and folded(wanted.person) not in self._people:
            raise WrongUse("is nobody the log knows", "Check the name, or add --new-people", wanted.person)


def read_placing(*, call: Mapping[str, str | None], names: str | None, sidecar: Path | None) -> Placing:
    """Read what a call says of where photos belong.

    Raises
    ------
    WrongUse
        The pattern or the table cannot be used.
    """
    faults = Faults("" if sidecar is None else str(sidecar))
    lines = {} if sidecar is None else read_sidecar(sidecar, faults)
    faults.raise_any()
    given = {name: text for name, text in call.items() if text is not None}
    return Placing(given, None if names is None else Names(names), lines, faults.path)
