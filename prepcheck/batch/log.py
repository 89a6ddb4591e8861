"""Puts the answers of a batch into the log, in the order of passes, each once however often the batch is run."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import PurePosixPath

from prepcheck.archive import Archive
from prepcheck.batch.ledger import Ledger, Placed, Row
from prepcheck.batch.placing import Placing, Wanted
from prepcheck.batch.run import Way
from prepcheck.batch.sources import Item, Source, read_all
from prepcheck.batch.work import LookKey, LookSpec, received_of, sha256_of
from prepcheck.errors import PrepcheckError, StillChanging, StoreFault, WrongUse, printable
from prepcheck.looking import Place, Sight, compare, log_seen
from prepcheck.passes import Lately
from prepcheck.record import Record
from prepcheck.store.answered import Answered, answered
from prepcheck.store.store import Store
from prepcheck.store.words import MOST_PASS_NO, folded


@dataclass(frozen=True)
class Log:
    """The log that a batch writes to, and where its photos belong in it."""

    store: Store = field(repr=False)
    archive: Archive = field(repr=False)
    placing: Placing

    def count(self, ledger: Ledger) -> int:
        """Return how many answers have a place."""
        return sum(1 for row in ledger.rows() if _wanted(row, ledger, self.placing) and isinstance(row.record, Record))


@dataclass(frozen=True)
class _Photo:
    """One photo, clip or moved-light set on its way into the log; `sha256` is that of its first photo, or of the clip."""

    name: str
    wanted: Wanted
    taken: str
    sha256: str
    key: LookKey
    more: tuple[str, ...] = ()


@dataclass(frozen=True)
class LogCount:
    """How many photos were logged now, had been before, and could not be."""

    logged: int = 0
    before: int = 0
    faults: int = 0

    def plus(self, placed: Placed, new: bool) -> LogCount:
        """Count one more."""
        if placed.inspection is None:
            return replace(self, faults=self.faults + 1)
        return replace(self, logged=self.logged + 1) if new else replace(self, before=self.before + 1)


def log_all(
    source: Source, way: Way, ledger: Ledger, log: Log, at: datetime, told: Callable[[], None] = lambda: None
) -> LogCount:
    """Log every answer that has a place, job by job, spot by spot, in the order of passes.

    What cannot be logged is told in the ledger, with the reason, and the rest go on.

    Raises
    ------
    StoreFault
        The log itself cannot be used; what was logged so far stays, and running again goes on.
    """
    look, count = way.spec.look(), LogCount()
    means = _Means(source, way, log, at, Lately(log.archive, look.model, look.settings))
    for (job, spot), photos in sorted(_by_spot(ledger, log.placing, _sets(source, log.placing), way).items()):
        of_spot = _of_spot(answered(log.store, job), spot)
        for photo in in_order(photos, of_spot):
            (row,) = ledger.row(photo.name)
            placed, new = _log_one(row, photo, of_spot, means)
            ledger.place(row, placed)
            of_spot += [_answered(placed, photo)] if new else []
            count = count.plus(placed, new)
            told()
    return count


@dataclass(frozen=True)
class _Means:
    source: Source
    way: Way
    log: Log
    at: datetime
    again: Lately


def _sets(source: Source, placing: Placing) -> dict[str, tuple[str, ...]]:
    """Return the names of the other photos of each set, by that of the first, as they are in the source."""
    return {item.name: item.more for item in source.items() if item.more} if placing.sets else {}


def _by_spot(
    ledger: Ledger, placing: Placing, sets: Mapping[str, tuple[str, ...]], way: Way
) -> dict[tuple[str, str], list[_Photo]]:
    """Return what has a place, by job and spot; a photo of a set has it with the first, whatever it was looked at before."""
    found: dict[tuple[str, str], list[_Photo]] = defaultdict(list)
    in_sets = {name for more in sets.values() for name in more}
    for row in ledger.rows():
        wanted, line = _wanted(row, ledger, placing), row.record
        if wanted is not None and isinstance(line, Record) and row.name not in in_sets:
            photo, key = line.photo, _key_in_log(line, way.spec_of(Item(row.name)))
            told = _Photo(row.name, wanted, photo.taken or "", photo.sha256, key, sets.get(row.name, ()))
            found[wanted.job, folded(wanted.spot)].append(told)
    return found


def _key_in_log(record: Record, spec: LookSpec) -> LookKey:
    """Return the key under which the log has an answer; that of a set names all its photos."""
    if len(record.photos) < 2:
        return spec.key
    return replace(spec.key, inputs_sha256=spec.look().inputs_sha256(record.photos))


def _wanted(row: Row, ledger: Ledger, placing: Placing) -> Wanted | None:
    """Return where a photo belongs; one whose name says what cannot be is told in the ledger."""
    try:
        return placing.of(row.name)
    except PrepcheckError as error:
        ledger.place(row, Placed("", "", None, "", fault=error.message))
        return None


def _of_spot(logged: list[Answered], spot: str) -> list[Answered]:
    return [one for one in logged if spot in (str(one.spot), folded(one.spot_name))]


def in_order(photos: list[_Photo], logged: list[Answered]) -> list[_Photo]:
    """Return photos of one spot in the order of passes.

    One whose pass is not told keeps the pass under which it is in the log; others are passes of their own, in the order of
    their capture times by the camera's own clock, after the last pass known. Without a time it stays without a pass.
    """
    known = {one.photo_sha256: one.pass_no for one in logged}
    last = max([*known.values(), *(photo.wanted.pass_no or 0 for photo in photos)], default=0)
    numbered = []
    for photo in sorted(photos, key=lambda photo: (photo.taken, photo.name)):
        number = photo.wanted.pass_no or known.get(photo.sha256)
        if number is None and photo.taken:
            last = number = last + 1
            known[photo.sha256] = number
        numbered.append(replace(photo, wanted=replace(photo.wanted, pass_no=number)))
    return sorted(numbered, key=lambda photo: (photo.wanted.pass_no or MOST_PASS_NO + 1, photo.taken, photo.name))


def _log_one(row: Row, photo: _Photo, logged: list[Answered], means: _Means) -> tuple[Placed, bool]:
    """Log one photo, unless it is; return where it is, and whether that is new."""
    wanted = photo.wanted
    placed = Placed(wanted.job, wanted.spot, wanted.pass_no, wanted.person)
    same = [one for one in logged if _is_same(one, photo)]
    if here := [one for one in same if _key(one) == photo.key]:
        return replace(placed, spot=str(here[0].spot), inspection=here[0].number), False
    try:
        number, spot = _log(row, photo, same[-1].number if same else None, means)
    except StoreFault:
        raise
    except PrepcheckError as error:
        return replace(placed, fault=error.message), False
    return replace(placed, spot=str(spot), inspection=number), True


def _is_same(one: Answered, photo: _Photo) -> bool:
    place = one.pass_no, folded(one.person), one.photo_sha256
    return place == (photo.wanted.pass_no, folded(photo.wanted.person), photo.sha256)


def _key(one: Answered) -> LookKey:
    return LookKey(one.version, one.model_sha256, one.settings_sha256, one.inputs_sha256)


def _answered(placed: Placed, photo: _Photo) -> Answered:
    key, number = photo.key, placed.inspection or 0
    place = number, int(placed.spot), photo.wanted.spot, placed.pass_no or 0, placed.person, photo.sha256
    return Answered(*place, key.version, key.model_sha256, key.settings_sha256, key.inputs_sha256)


def _log(row: Row, photo: _Photo, corrects: int | None, means: _Means) -> tuple[int, int]:
    """Log a photo and return the numbers of inspection and spot."""
    wanted, log = photo.wanted, means.log
    if wanted.pass_no is None:
        raise WrongUse("has no pass number and no capture time", "Name its pass in the table", printable(photo.name))
    item = Item(photo.name, more=photo.more)
    files = read_all(means.source, item)
    if sha256_of(files) != row.sha256:
        raise StillChanging("changed since it was looked at", "Run again", photo.name)
    look = means.way.spec_of(item).look()
    place = Place(
        log.store,
        log.archive,
        wanted.job,
        wanted.spot,
        wanted.pass_no,
        wanted.person,
        wanted.outline,
        wanted.note,
        corrects,
    )
    sight = Sight(received_of(item, files, look), _plainly_named(row))
    logged = log_seen(compare(sight, look, place, means.again), files, place, means.at)
    return logged.inspection, logged.spot


def _plainly_named(row: Row) -> Record:
    """Return the record under the photo's name without folders, as every other command logs it."""
    record = row.record
    assert isinstance(record, Record)
    photo = record.photo.model_copy(update={"name": printable(PurePosixPath(row.name).name)})
    return record.model_copy(update={"photo": photo})
