"""Logs what was seen again: new inspections that correct the old ones, which stay."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

from prepcheck.archive import Archive
from prepcheck.batch.again import Change, Logged, changes, job_of
from prepcheck.batch.ledger import Ledger, Placed
from prepcheck.batch.log import LogCount
from prepcheck.batch.run import Way
from prepcheck.errors import PrepcheckError, StoreFault, WrongUse
from prepcheck.looking import Place, Received, Sight, compare, log_seen
from prepcheck.passes import archived_photos
from prepcheck.store.answered import answered


def log_changes(logged: Logged, archive: Archive, way: Way, ledger: Ledger, person: str, at: datetime) -> LogCount:
    """Log each inspection seen again, in the order of spots and passes of each job; one that is corrected already is not.

    One with outlines that a person drew or refused stays as it is: their numbers mean nothing in another answer.

    Raises
    ------
    StoreFault
        The log cannot be used; what was logged stays, and running again goes on.
    """
    count, corrected = LogCount(), _corrected(logged)
    for change in sorted(_answered(logged, ledger), key=_order):
        if change.one.number in corrected:
            count = replace(count, before=count.before + 1)
            continue
        placed = Placed(job_of(change.row.name), str(change.one.spot), change.one.pass_no, person)
        placed = _log_one(change, placed, logged, archive, way, at)
        ledger.place(change.row, placed)
        count = count.plus(placed, new=True)
    return count


def _corrected(logged: Logged) -> set[int]:
    return {one.number for job in logged.jobs for one in answered(logged.store, job) if one.corrected}


def _answered(logged: Logged, ledger: Ledger) -> Iterator[Change]:
    return (change for change in changes(logged, ledger) if change.after is not None)


def _order(change: Change) -> tuple[str, int, int, int]:
    return job_of(change.row.name), change.one.spot, change.one.pass_no, change.one.number


def _log_one(change: Change, placed: Placed, logged: Logged, archive: Archive, way: Way, at: datetime) -> Placed:
    try:
        return replace(placed, inspection=_log(change, placed, logged, archive, way, at))
    except StoreFault:
        raise
    except PrepcheckError as error:
        return replace(placed, fault=error.message)


def _log(change: Change, placed: Placed, logged: Logged, archive: Archive, way: Way, at: datetime) -> int:
    before, after = change.before, change.after
    assert after is not None
    assert placed.pass_no is not None
    if before.by_person is not None:
        raise WrongUse("has outlines of a person", "Inspect it again and draw them anew", change.row.name)
    scale = before.photo.scale
    stated = before.photo.mm_per_px if scale is not None and scale.source == "stated" else None
    look = way.spec.stating(stated).look()
    photos = before.photos or [before.photo]
    files = [archive.get(sha256) for sha256 in dict.fromkeys(photo.sha256 for photo in photos)]
    note = f"Looked at again with {way.spec.origin.name}."
    place = Place(
        logged.store, archive, placed.job, placed.spot, placed.pass_no, placed.person, change.row.outline, note, change.one.number
    )  # fmt: skip
    received = Received(tuple(archived_photos(photos, archive, look.settings)), tuple(files))
    return log_seen(compare(Sight(received, after), look, place), files, place, at).inspection
