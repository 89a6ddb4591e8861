"""Where a photo belongs in the log: its place there, what changed since the passes before, and the entry."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck.archive import Archive
from prepcheck.errors import WrongUse
from prepcheck.inspection import Inspection
from prepcheck.looking.look import Look
from prepcheck.looking.sight import Received, Sight
from prepcheck.record import Record, SinceLastPass
from prepcheck.settings import Settings
from prepcheck.store import Logged, StoreAddress
from prepcheck.store.words import clean, job_number
from prepcheck.tasks import check_entry, log_inspection, open_log, tied_outline

if TYPE_CHECKING:
    from prepcheck.store.store import Store


@dataclass(frozen=True)
class Place:
    """Where in the log a photo belongs: job, spot on it, grinding pass, who answers, and which outline is the spot."""

    store: Store = field(repr=False)
    archive: Archive = field(repr=False)
    job: str
    spot: str
    pass_no: int
    person: str
    outline: int | None = None
    note: str = ""
    corrects: int | None = None


def place_in_log(
    folder: Path | StoreAddress | None,
    settings: Settings,
    *,
    job: str | None,
    spot: str | None,
    pass_no: int | None,
    person: str | None,
    outline: int | None = None,
    note: str = "",
) -> Place | None:
    """Open the log where the photos of a call belong; None when no job is named.

    Raises
    ------
    WrongUse
        Only a part of job, spot, pass and person is named, or one of them cannot be logged.
    UnknownRecord
        No such job, or no log.
    StoreFault
        The log cannot be opened.
    """
    needed = {"--job": job, "--spot": spot, "--pass-no": pass_no, "--person": person}
    missing = [name for name, value in needed.items() if value is None]
    if len(missing) == len(needed) and outline is None and not note:
        return None
    if job is None or spot is None or pass_no is None or person is None:
        raise WrongUse(f"a log entry needs {', '.join(missing)} too", "Name all of them", command=", ".join(needed))
    check_entry(spot=spot, pass_no=pass_no, person=person, note=note)
    store, archive = open_log(folder, settings, create=False)
    store.check_job(job_number(job))
    return Place(store, archive, job, spot, pass_no, person, outline, note)


@dataclass(frozen=True)
class Seen:
    """What goes into the log of one input: plain data, which another process can hand over.

    Parameters
    ----------
    record : Record
        The answer.
    outline : int or None
        Which outline is the job's spot; None without any.
    since : SinceLastPass or None
        What changed since an earlier pass.
    inputs_sha256 : str
        See `Look.inputs_sha256`.
    """

    record: Record
    outline: int | None
    since: SinceLastPass | None
    inputs_sha256: str


def compare(sight: Sight, look: Look, place: Place, again: Callable[[Record], Inspection] | None = None) -> Seen:
    """Find the job's spot in what was seen, by the earlier passes if there are any, and say what changed since.

    `again` looks again at the photos of those, where many passes are logged one after the other: `prepcheck.passes.Lately`.

    Raises
    ------
    ChooseOutline
        Several outlines, and nothing tells which of them is the spot.
    """
    outline, since = _since(sight.inspection, sight.received, look, place, again)
    inputs = look.inputs_sha256(sight.received.photos)
    return Seen(sight.record, tied_outline(sight.record, outline), since, inputs)


def log_seen(seen: Seen, files: Sequence[bytes], place: Place, at: datetime) -> Logged:
    """Log what was seen in exactly these `files`.

    Raises
    ------
    WrongUse, UnknownRecord, StoreFault
        See `prepcheck.tasks.log_inspection`; nothing was logged.
    """
    return log_inspection(
        place.store,
        place.archive,
        seen.record,
        files[0],
        job=place.job,
        spot=place.spot,
        pass_no=place.pass_no,
        person=place.person,
        at=at,
        outline_number=seen.outline,
        inputs_sha256=seen.inputs_sha256,
        note=place.note,
        corrects=place.corrects,
        more_bytes=files[1:],
        since=seen.since,
    )


def _since(
    inspection: Inspection | None,
    received: Received,
    look: Look,
    place: Place,
    again: Callable[[Record], Inspection] | None,
) -> tuple[int | None, SinceLastPass | None]:
    """Compare with the earlier passes of the spot, if there are any."""
    earlier = place.store.earlier_passes(job_number(place.job), clean(place.spot, "the spot"), place.pass_no)
    if not earlier:
        return place.outline, None
    from prepcheck.passes import Lately, since_last_pass

    seen = look.inspect(received.photos) if inspection is None else inspection
    lately = again or Lately(place.archive, look.model, look.settings)
    return since_last_pass(seen, place.outline, earlier, lately, look.settings)
