"""The whole use case: read, inspect and log one input, with faults told and not raised."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck.errors import PrepcheckError, printable
from prepcheck.inspection import Inspection
from prepcheck.looking.look import Look
from prepcheck.looking.place import Place, compare, log_seen
from prepcheck.looking.sight import see
from prepcheck.record import BrokenRecord, Record, broken_record
from prepcheck.store import Logged
from prepcheck.terms import Standing

if TYPE_CHECKING:
    pass


@dataclass(frozen=True, eq=False)
class Looked:
    """The answer for one input.

    Parameters
    ----------
    line : Record or BrokenRecord
        What is printed. When only the log failed, it is the answer all the same.
    error : PrepcheckError or None
        What went wrong with the photo, the model or the log.
    inspection : Inspection or None
        What is behind the record; None for a broken input and for an answer found in the log.
    logged : Logged or None
        Where it was logged.
    """

    line: Record | BrokenRecord
    error: PrepcheckError | None = None
    inspection: Inspection | None = field(default=None, repr=False)
    logged: Logged | None = None

    @property
    def exit_code(self) -> int:
        """0 every spot bright, 1 a person is needed, else that of the error."""
        if self.error is not None:
            return self.error.exit_code
        assert isinstance(self.line, Record)
        standings = [self.line.standing, *([self.line.by_person.standing] if self.line.by_person else [])]
        return 0 if all(standing is Standing.BRIGHT for standing in standings) else 1


def look_at(
    paths: Path | Sequence[Path], look: Look, place: Place | None, at: datetime, *, keep_maps: bool = False
) -> Looked:
    """Read, inspect and, when a place in the log is given, log one photo, one clip, or one moved-light set.

    Parameters
    ----------
    paths : Path or sequence of Path
        The photo or clip, or the photos of a set.
    look : Look
        How to look.
    place : Place or None
        Where it belongs in the log.
    at : datetime
        Now, with time zone.
    keep_maps : bool
        Whether the inspection itself is needed (for picture and maps), not just its record.

    Returns
    -------
    Looked
        A file that cannot be read and a log that cannot be written are told in it, not raised.
    """
    named = [paths] if isinstance(paths, Path) else list(paths)
    try:
        sight = see(named, look, None if place is None else place.store, keep_maps=keep_maps)
    except PrepcheckError as error:
        return Looked(broken_record(printable(named[0].name), error.code, error.message), error)
    if place is None:
        return Looked(sight.record, None, sight.inspection)
    try:
        logged = log_seen(compare(sight, look, place), sight.received.files, place, at)
    except PrepcheckError as error:
        return Looked(sight.record, error, sight.inspection)
    return Looked(logged.record, None, sight.inspection, logged)
