"""The use case of sealing a job: gather what the log and the archive hold, seal it, log the seal."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter

from prepcheck.archive.archive import Archive
from prepcheck.archive.bag_source import open_source, read
from prepcheck.archive.bag_write import TAG_MANIFEST, beside_of, move, remove_stale
from prepcheck.archive.faults import Fault, Kind
from prepcheck.archive.keys import ShopKey, has_key, shop_key
from prepcheck.archive.seal import Evidence, ModelIn, PhotoIn, SealedBag, seal
from prepcheck.archive.sequence import SLACK, logged_at
from prepcheck.archive.shop_fit_file import fit_bytes, opened
from prepcheck.archive.statement import sha256
from prepcheck.archive.verify import verify
from prepcheck.errors import BrokenBag, StoreFault, WrongUse
from prepcheck.resources import folder
from prepcheck.store import clean, job_number
from prepcheck.store.rows import Seal, Story
from prepcheck.store.words import TITLE
from prepcheck.trade.entries import Erased, Sealed

if TYPE_CHECKING:
    from prepcheck.store.store import Store


@dataclass(frozen=True)
class JobSealed:
    """What was sealed, with which key.

    `finished` are bags of earlier seals that had been cut off and now have their name; `doubts` are times in the log that
    run against its order, which `verify` tells as faults. `fits` are the shop's own fits whose signed files are in the bag,
    by SHA-256; `fits_left_out` says of the others why not, which `verify` tells as missing.
    """

    bag: SealedBag
    fingerprint: str
    finished: tuple[Path, ...]
    doubts: tuple[str, ...] = ()
    fits: tuple[str, ...] = ()
    fits_left_out: tuple[str, ...] = ()


def seal_job(
    store: Store,
    archive: Archive,
    number: str,
    out: Path,
    *,
    person: str,
    at: datetime,
    role: str = "",
    as_zip: bool = False,
    with_position: bool = False,
    report_files: Mapping[str, bytes] | None = None,
) -> JobSealed:
    """Seal all evidence of a job into a bag, verify it, log it, and only then give the bag its name.

    Killed at any moment, there is either no bag and no seal in the log, or both; a bag that was logged and not yet named is
    named by the next seal into the same folder, which also removes what was not logged.

    Parameters
    ----------
    store, archive : Store, Archive
        From `prepcheck.tasks.open_log`; the shop's key lies beside the log.
    number : str
        The job.
    out : Path
        Folder or zip file to make.
    person, role, at
        Who seals, in which role as proved by a PIN, when.
    as_zip, with_position : bool
        Whether to write a zip file; whether to include the originals of photos with their position.
    report_files : mapping of str to bytes, optional
        Reports by file name.

    Raises
    ------
    UnknownRecord
        No such job.
    StoreFault
        The clock is behind the job's newest entry, the log or a photo is no longer what was logged, its past is not the one
        that was sealed, or the key of earlier seals is gone; nothing was sealed.
    NameClash, StoreFull
        There is something at `out`, or no room; nothing was sealed.
    WrongUse
        The name of the person or of the bag cannot be logged.
    """
    job, who = job_number(number), clean(person, "the person's name")
    if len(out.name) > TITLE or not out.name.isprintable():
        raise WrongUse("is no name for a bag that can be logged", "Choose another --out", out.name)
    evidence = gather(store, job, report_files)
    _refuse_clock(evidence, at)
    finished = finish(out.parent, evidence.earlier)
    key = _key(store, evidence.earlier, at)
    remove_stale(out.parent, key.mark, lambda beside: _is_logged(store, beside))
    fits, left_out = _fits(evidence.records, store.folder, key)

    doubts: list[str] = []

    def log(beside: Path, sealed: Sealed) -> None:
        doubts.extend(map(str, _refuse_faults(beside, key.public)))
        store.add_seal(job, sealed, who, at, role)

    bag = seal(
        replace(evidence, fits=fits),
        key,
        out,
        at=at,
        photo_bytes=archive.get,
        as_zip=as_zip,
        with_position=with_position,
        before_move=log,
    )
    return JobSealed(bag, key.fingerprint, finished, tuple(doubts), tuple(fits), left_out)


def _key(store: Store, earlier: Sequence[Seal], at: datetime) -> ShopKey:
    """Return the shop's key; where seals were made with one that is gone, none is made in silence."""
    folder = store.folder
    if earlier and not has_key(folder):
        do = (
            "Copy its backup back; if there is none, prepcheck key show makes another: tell all who know the old number"
        )
        raise StoreFault("the key that signed earlier seals is not there; nothing was sealed", do, str(folder))
    return shop_key(folder, at)


def gather(store: Store, job: str, report_files: Mapping[str, bytes] | None = None) -> Evidence:
    """Return all that is sealed of a job, as the log holds it at this moment; an unknown job is an `UnknownRecord`."""
    now = store.moment(job)
    parsed = [json.loads(text) for text in now.records.values()]
    return Evidence(
        job=job,
        story=TypeAdapter(Story).dump_python(now.story, mode="json"),
        records=now.records,
        photos=_photos(parsed, _erased_photos(now.story)),
        models=_models(parsed),
        leaves=now.leaves,
        earlier=now.seals,
        reports=report_files,
    )


def finish(place: Path, seals: Iterable[Seal]) -> tuple[Path, ...]:
    """Give those bags in a folder their name that were logged as sealed just before the program was killed."""
    done = []
    for one in seals:
        named = place / one.sealed.bag
        for beside in beside_of(named) if not named.exists() else ():
            if _tag_manifest(beside) == one.sealed.manifest_sha256:
                move(beside, named)
                done.append(named)
                break
    return tuple(done)


def _is_logged(store: Store, beside: Path) -> bool:
    return _tag_manifest(beside) in {one.sealed.manifest_sha256 for one in store.seals()}


def _tag_manifest(beside: Path) -> str:
    try:
        return sha256(read(open_source(beside), TAG_MANIFEST))
    except (BrokenBag, KeyError, OSError):
        return ""


def _erased_photos(story: Story) -> dict[str, str]:
    """Return the reason of each photo that was lawfully erased, by its SHA-256."""
    entries = (event.entry for event in story.events)
    return {entry.sha256: entry.reason for entry in entries if isinstance(entry, Erased) and entry.what == "photo"}


def _photos(records: list[dict[str, Any]], erased: dict[str, str]) -> list[PhotoIn]:
    names: dict[str, list[str]] = {}
    formats: dict[str, str] = {}
    for record in records:
        for photo in record.get("photos") or [record["photo"]]:
            formats[photo["sha256"]] = photo["format"]
            known = names.setdefault(photo["sha256"], [])
            known += [photo["name"]] if photo["name"] not in known else []
    return [PhotoIn(one, formats[one], tuple(names[one]), erased.get(one, "")) for one in names]


def _models(records: list[dict[str, Any]]) -> list[ModelIn]:
    used = sorted({(record["origin"]["model"], record["origin"]["model_sha256"]) for record in records})
    return [ModelIn(name, hash, _card(name, hash)) for name, hash in used]


def _fits(records: Mapping[int, str], folder: Path, key: ShopKey) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """Return the files of the fits that answers were read with, and of those that cannot be shown why."""
    named = {json.loads(text)["origin"].get("shop_fit") for text in records.values()} - {None}
    found: dict[str, bytes] = {}
    left_out: list[str] = []
    for one in sorted(named):
        try:
            data = fit_bytes(folder, one)
        except OSError as error:
            left_out.append(f"shop's fit {one}: its file cannot be read ({error.strerror})")
            continue
        told = opened(data, one, key.public_keys)
        if isinstance(told, str):
            left_out.append(f"shop's fit {one}: {told}")
        else:
            found[one] = data
    return found, tuple(left_out)


def _card(name: str, model_sha256: str) -> bytes | None:
    """Return the card that ships with a model of this very hash."""
    models = folder("models")
    try:
        known = json.loads((models / "registry.json").read_bytes())["models"].get(name, {})
        return (models / known["card"]).read_bytes() if known.get("sha256") == model_sha256 else None
    except (OSError, ValueError, KeyError):
        return None


def _refuse_clock(evidence: Evidence, at: datetime) -> None:
    """Refuse a time of sealing that is before the job's newest entry: the entry that tells of the seal would carry it."""
    last = next((leaf for leaf in reversed(evidence.leaves) if leaf.job == evidence.job), None)
    newest = None if last is None else logged_at(last)
    if newest is not None and newest - at > SLACK:
        what = f"the clock says {at:%Y-%m-%d %H:%M}, the job's newest entry is of {newest:%Y-%m-%d %H:%M}"
        raise StoreFault(
            f"{what}; nothing was sealed", "Set the clock right; if it is right, log a note first", "the log"
        )


def _refuse_faults(beside: Path, public_key: str) -> list[Fault]:
    """Refuse to seal what would not verify: the log, or what it names, is no longer what it was. Return faults of time.

    Times that run against the order of the log stay in it for good, so that they cannot keep a job from being sealed.
    """
    found = verify(beside, key=public_key).faults
    faults = [fault for fault in found if fault.kind is not Kind.TIME]
    if faults:
        more = f", and {len(faults) - 1} more" if len(faults) > 1 else ""
        raise StoreFault(f"cannot be sealed: {faults[0]}{more}", "Bring the log back from a backup", "the log")
    return [fault for fault in found if fault.kind is Kind.TIME]
