"""Writes the answer of a work into the log once, though log and book are two files and a server may be killed between them.

Before it logs it notes in the book when, which photo, and after which inspection. A work that was noted but has no inspection
yet is looked for in the log by exactly that. Works are logged one after the other, so at most one is in doubt.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from prepcheck import looking
from prepcheck.archive import Archive
from prepcheck.looking import Place, Seen
from prepcheck.store import job_number
from prepcheck.store.words import folded, stamp
from prepcheck.web import book as b
from prepcheck.web.asked import Asked
from prepcheck.web.book import Book
from prepcheck.web.looker import Task
from prepcheck.web.shop import Clock

if TYPE_CHECKING:
    from prepcheck.store.placed import Placed
    from prepcheck.store.store import Store

LOGGING = "logging"
"""State of a work that is being logged."""


@dataclass(frozen=True)
class LogOnce:
    """The log of a shop, together with the page's book."""

    book: Book
    store: Store = field(repr=False)
    archive: Archive = field(repr=False)
    clock: Clock

    def log(self, row: Any, task: Task, seen: Seen) -> int:
        """Log what was seen for the work `row` and return the number of the inspection.

        Raises
        ------
        PrepcheckError
            Nothing was logged; or, for a fault of the store, `found` says whether it was.
        """
        from prepcheck.store.placed import last_inspection

        files = [path.read_bytes() for path in task.paths]
        at = self.clock()
        told = {
            "state": LOGGING,
            "logging_at": stamp(at),
            "logging_after": last_inspection(self.store),
            "logging_sha256": seen.record.photo.sha256,
        }
        with self.book.writing() as connection:
            connection.execute(sa.update(b.works).where(b.works.c.id == row.id).values(told))
        return looking.log_seen(seen, files, self._place(row, task), at).inspection

    def _place(self, row: Any, task: Task) -> Place:
        return Place(
            self.store,
            self.archive,
            task.job,
            task.spot,
            task.pass_no,
            task.person,
            task.outline,
            task.note,
            Asked.model_validate_json(row.asked).corrects,
        )

    def found(self, row: Any) -> int | None:
        """Return the inspection of a work if the log has it."""
        from prepcheck.store.placed import placed_after

        if row.inspection is not None or row.logging_at is None:
            return None if row.inspection is None else int(row.inspection)
        with self.book.reading() as connection:
            others = set(connection.scalars(sa.select(b.works.c.inspection).where(b.works.c.inspection.is_not(None))))
        asked = Asked.model_validate_json(row.asked)
        same = [one for one in placed_after(self.store, row.logging_after) if _is_it(one, row, asked)]
        return next((one.number for one in same if one.number not in others), None)


def _is_it(one: Placed, row: Any, asked: Asked) -> bool:
    logged = (one.photo_sha256, one.at, one.job, one.pass_no, folded(one.person))
    return logged == (row.logging_sha256, row.logging_at, job_number(asked.job), asked.pass_no, folded(row.person))
