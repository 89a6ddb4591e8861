"""Checks what a sealed bag says of the log: entries are in the tree, none is missing, it goes on from earlier seals."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

from prepcheck.archive.bag_parts import Tell
from prepcheck.archive.faults import Kind
from prepcheck.archive.statement import EarlierLine, EntryLine, Head, LogFile, SealRef
from prepcheck.merkle import leaf_hash, verify_consistency, verify_inclusion
from prepcheck.store.rows import Leaf

SLACK = timedelta(minutes=10)
"""By how much times may run against the order of the log without a fault: clocks of two machines, a long inspection."""


def told(entry: EntryLine | Leaf) -> dict[str, Any]:
    """Return what an entry says; nothing when it was erased or is no JSON object."""
    try:
        found = json.loads(entry.text or "{}")
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def logged_at(entry: EntryLine | Leaf) -> datetime | None:
    """Return the time that an entry tells; None when it tells none that can be read."""
    return _time(told(entry).get("at"))


def words(found: Any) -> set[str]:
    """Return the texts in a list; nothing when it is none."""
    return {one for one in found if isinstance(one, str)} if isinstance(found, list) else set()


def check_entries(log: LogFile, head: Head, tell: Tell) -> None:
    """Check that each entry is where and what the sealed tree says, and that none of the job's is missing."""
    for entry in (*log.entries, *log.people):
        _check_entry(entry, head, tell)
    _check_numbers(log.entries, head, tell)
    _check_erased(log, tell)
    _check_once(log, tell)
    for where, entries in (("log.json", log.entries), ("log.json, people", log.people)):
        places = [entry.index for entry in entries]
        if places != sorted(set(places)):
            tell(Kind.LOG, where, "its entries are not in the order of the log")


def _check_entry(entry: EntryLine, head: Head, tell: Tell) -> None:
    where = name_of(entry)
    if entry.text is not None and leaf_hash(bytes.fromhex(entry.salt) + entry.text.encode()).hex() != entry.hash:
        tell(Kind.LOG, where, "its text is not the one that was logged: its hash is another")
    if entry.text is not None and not told(entry):
        tell(Kind.LOG, where, "its text cannot be read")
    if told(entry).get("nth", entry.nth) != entry.nth:
        tell(Kind.LOG, where, "its number in the job is not the one that was logged")
    if (entry.text is None) != bool(entry.erased):
        tell(Kind.LOG, where, "its text is gone and no erasure is told, or the other way round")
    proof = [bytes.fromhex(hash) for hash in entry.proof]
    if not verify_inclusion(bytes.fromhex(entry.hash), entry.index, head.size, proof, bytes.fromhex(head.root)):
        tell(Kind.LOG, where, "it is not in the sealed tree at this place")


def _check_numbers(entries: Sequence[EntryLine], head: Head, tell: Tell) -> None:
    for expected, entry in enumerate(entries, 1):
        if entry.nth != expected:
            tell(Kind.LOG, name_of(entry), f"stands where entry {expected} of the job belongs: one is missing or moved")
            break
    if len(entries) != head.entries:
        tell(Kind.LOG, "log.json", f"holds {len(entries)} entries of the job, {head.entries} were sealed")
    for entry in entries:
        if entry.job != head.job or told(entry).get("job", head.job) != head.job:
            tell(Kind.LOG, name_of(entry), f"belongs to another job than {head.job}")


def _check_erased(log: LogFile, tell: Tell) -> None:
    reasons = erasures(log)
    for entry in log.entries:
        if entry.text is None and entry.hash not in reasons:
            tell(Kind.LOG, name_of(entry), "its text is gone, and no entry of the job says that it was erased")


def _check_once(log: LogFile, tell: Tell) -> None:
    """Check that nothing was logged a second time under the number of something older, to be told in its place."""
    seen: set[tuple[str, str]] = set()
    for entry in (*log.entries, *log.people):
        what = str(told(entry).get("kind")), str(told(entry).get("number"))
        if entry.text is not None and what in seen:
            tell(Kind.LOG, name_of(entry), f"says anew what {what[0]} {what[1]} is, which stands before it")
        seen.add(what)


def erasures(log: LogFile) -> dict[str, str]:
    """Return the reason of each erasure that the job's entries tell of, by the hash of what was erased."""
    inside = (entry for _, entry in _entries_of_kind(log.entries, "erased"))
    return {str(entry.get("sha256")): str(entry.get("reason")) for entry in inside}


def check_times(log: LogFile, head: Head, tell: Tell) -> None:
    """Check that times run with the order of the log, from seal to seal.

    Inspections, disagreements and jobs of a log from before the tree were put into it kind by kind, so that they are only
    held against their own kind and against the entries of people, which came later.
    """
    newest: dict[str, datetime] = {}
    for entry in log.entries:
        kind, at = str(told(entry).get("kind")), logged_at(entry)
        if at is None:
            continue
        before = [newest[other] for other in (newest if kind == "event" else (kind, "event")) if other in newest]
        before += [one.at for one in log.earlier if one.size <= entry.index]
        if before and max(before) - at > SLACK:
            told_late = (
                f"its time {at} is before {max(before)}, which came earlier: back-dated, or the clock was put back"
            )
            tell(Kind.TIME, name_of(entry), told_late)
        if at - head.at > SLACK:
            tell(Kind.TIME, name_of(entry), f"its time {at} is after the seal's, {head.at}")
        newest[kind] = max(at, newest.get(kind, at))


def check_earlier(log: LogFile, head: Head, tell: Tell) -> None:
    """Check that the log goes on from each earlier seal, and that the list of seals is whole."""
    sizes = [one.size for one in log.earlier]
    if sizes != sorted(sizes):
        tell(Kind.LOG, "log.json", "its earlier seals are not in order")
    for one in log.earlier:
        if not goes_on(one, head):
            tell(Kind.LOG, _seal_of(one.at), "this log does not go on from it: its past was rewritten")
    last = log.earlier[-1] if log.earlier else None
    if (last and _ref(last)) != head.previous:
        tell(Kind.LOG, "head.json", "names another previous seal than the last in log.json")
    known = {one.manifest_sha256 for one in log.earlier}
    for entry, seal in _entries_of_kind(log.entries, "sealed"):
        if seal.get("manifest_sha256") not in known:
            tell(Kind.LOG, name_of(entry), "tells of an earlier seal that is missing in log.json")


def goes_on(one: EarlierLine, head: Head) -> bool:
    """Say whether the proof holds that the sealed log begins with the one of an earlier seal."""
    proof = [bytes.fromhex(hash) for hash in one.proof]
    return verify_consistency(one.size, bytes.fromhex(one.root), head.size, bytes.fromhex(head.root), proof)


def check_after(old: Head, old_log: LogFile, old_manifest: str, new: Head, new_log: LogFile, tell: Tell) -> None:
    """Check that a bag goes on from an older one that somebody kept."""
    where = _seal_of(old.at)
    line = next((one for one in new_log.earlier if one.manifest_sha256 == old_manifest), None)
    if new.size < old.size or (new.job == old.job and new.entries < old.entries):
        tell(Kind.LOG, where, f"the tail is cut: it had {old.size} entries in the log, this bag has {new.size}")
    elif line is None:
        tell(Kind.LOG, where, "this bag does not know it: its past was rewritten, or it is the older of the two")
    elif (line.size, line.root) != (old.size, old.root) or not goes_on(line, new):
        tell(Kind.LOG, where, "this log does not go on from it: its past was rewritten")
    if old.at - new.at > SLACK:
        tell(Kind.TIME, "head.json", f"sealed at {new.at}, before the older bag, {old.at}")
    _check_same(old_log, old.size, new_log, tell)
    for entry in new_log.entries if line is None else ():  # else the times were held against it in the bag itself
        at = logged_at(entry)
        if entry.index >= old.size and at is not None and old.at - at > SLACK:
            tell(Kind.TIME, name_of(entry), f"came after the older bag of {old.at} with the time {at}: back-dated")


def _check_same(old: LogFile, old_size: int, new: LogFile, tell: Tell) -> None:
    if not (old.entries and new.entries and old.entries[0].job == new.entries[0].job):
        return
    before, now = ({entry.index: entry.hash for entry in log.entries} for log in (old, new))
    for entry in old.entries:
        if now.get(entry.index) != entry.hash:
            tell(Kind.LOG, name_of(entry), "is in the older bag and is missing or another in this one")
    for entry in new.entries:
        if entry.index < old_size and entry.index not in before:
            tell(Kind.LOG, name_of(entry), "was in the log when the older bag was sealed, and that bag leaves it out")


def _entries_of_kind(entries: Sequence[EntryLine], kind: str) -> Iterator[tuple[EntryLine, dict[str, Any]]]:
    for entry in entries:
        inside = told(entry).get("entry")
        if isinstance(inside, dict) and inside.get("kind") == kind:
            yield entry, inside


def _ref(line: EarlierLine) -> SealRef:
    return SealRef(manifest_sha256=line.manifest_sha256, size=line.size, root=line.root)


def _time(text: Any) -> datetime | None:
    try:
        found = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        return None
    return found if found.tzinfo else None


def _seal_of(at: datetime) -> str:
    return f"the seal of {at.isoformat(sep=' ', timespec='minutes')[:16]}"


def name_of(entry: EntryLine) -> str:
    """Name an entry for a person."""
    return f"entry {entry.nth} of {entry.job}" if entry.job else f"entry {entry.index} of the log"
