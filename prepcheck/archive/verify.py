"""Verifies sealed evidence, without the store: three depths, every fault, and what was not looked at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from prepcheck.archive import bindings, sequence
from prepcheck.archive import statement as s
from prepcheck.archive.bag import BagCheck, check_bag
from prepcheck.archive.bag_parts import Declaration, collector, read_manifest
from prepcheck.archive.bag_source import Source, open_source, read
from prepcheck.archive.bag_write import MANIFEST, TAG_MANIFEST
from prepcheck.archive.faults import Fault, Kind
from prepcheck.archive.keys import chain_holds, fingerprint, holds
from prepcheck.archive.story_check import check_story
from prepcheck.archive.timestamp import NO_TIMESTAMP, check_timestamp
from prepcheck.errors import WrongUse
from prepcheck.own_file import first_fault

_File = TypeVar("_File", bound=BaseModel)
ALONE = (
    "no older bag was given: a log that the shop wrote anew before this seal, or keeps twice, or entries at"
    " its end that it left out of this bag, cannot be noticed from one bag alone"
)
COPIES = "That each shows what its original shows is the shop's own word, until it hands the original over"
NO_JOB = "the entry that opened the job was erased: its alloy, wall and contents as told are the shop's own word"
NO_FIT = "answers were read with a fit of the shop's own whose signed file is not in the bag, only its hash"
REPORT = "what lies in data/report was signed with all else, and was not held against the log"


class Depth(StrEnum):
    """How deep to look; each depth includes the ones before it."""

    COMPLETE = "complete"
    """All files are there and no others."""
    INTACT = "intact"
    """All files are, byte for byte, those of the manifests."""
    SIGNED = "signed"
    """The shop's key signed exactly this, and its log goes on unbroken."""


@dataclass(frozen=True)
class Verification:
    """What was found.

    Parameters
    ----------
    path : str
        The bag.
    depth : Depth
        How deep it was looked at.
    faults : tuple of Fault
        All of them.
    told : tuple of str
        What is no fault and has to be known: erased entries, photos left out, whose key it is.
    time_rests_on : str
        Who says when it was sealed.
    head : Head or None
        What was signed; None when that cannot be read. Not yet trusted when there are faults.
    fingerprint : str
        Number of the key that head.json names, as read out over the phone; empty without one.
    """

    path: str
    depth: Depth
    faults: tuple[Fault, ...]
    told: tuple[str, ...] = ()
    time_rests_on: str = ""
    head: s.Head | None = None
    fingerprint: str = ""


@dataclass
class _Bag:
    """A bag while it is looked at."""

    path: Path
    source: Source
    check: BagCheck
    faults: list[Fault]
    told: list[str]
    head: s.Head | None = None
    log: s.LogFile | None = None
    time_rests_on: str = ""
    files: dict[str, bytes] = field(default_factory=dict)


def verify(
    path: Path,
    depth: Depth = Depth.SIGNED,
    *,
    key: str | None = None,
    after: Path | None = None,
    authority: bytes | None = None,
) -> Verification:
    """Look at a bag and collect every fault.

    Parameters
    ----------
    path : Path
        Folder or zip file.
    depth : Depth
        How deep to look.
    key : str, optional
        Fingerprint, or whole public key in hex, of the shop that is expected to have signed.
    after : Path, optional
        An older bag of the same shop, which this one has to go on from.
    authority : bytes, optional
        Certificate of the authority whose timestamps are trusted (PEM or DER).

    Raises
    ------
    BrokenBag
        The bag, or the older one, cannot be read at all.
    WrongUse
        `key` is no fingerprint, or `after` or `authority` is given at a lesser depth than signed.
    """
    if depth is not Depth.SIGNED and (after, authority) != (None, None):
        raise WrongUse(
            "older bags and timestamps are looked at in depth signed only",
            "Ask for that depth",
            command="--depth signed",
        )
    expected = None if key is None else _expected(key)
    bag = _look(path, intact=depth is not Depth.COMPLETE)
    if depth is not Depth.SIGNED and expected is not None:
        bag.told.append("whose key signed was not looked at: that is depth signed")
    if depth is Depth.SIGNED:
        _signed(bag, expected, authority)
        if after is None:
            bag.told.append(ALONE)
        else:
            _after(bag, after)
    number = "" if bag.head is None else fingerprint(bag.head.public_key)
    return Verification(str(path), depth, tuple(bag.faults), tuple(bag.told), bag.time_rests_on, bag.head, number)


def _look(path: Path, *, intact: bool) -> _Bag:
    source = open_source(path)
    check = check_bag(source, intact=intact)
    bag = _Bag(path, source, check, list(check.faults), list(check.said))
    for file in sorted(source.sizes.keys() - check.listed - s.BESIDE):
        if not file.startswith("data/"):  # those are told already
            bag.faults.append(Fault(Kind.ADDED, file, "is listed in no manifest"))
    bag.head = _read(bag, s.HEAD, s.Head)
    return bag


def _signed(bag: _Bag, expected: str | None, authority: bytes | None) -> None:
    tell = collector(bag.faults)
    if bag.head is None:
        return
    _signature(bag, bag.head)
    _key(bag, bag.head, expected)
    stamp = _bytes(bag, s.TIMESTAMP) if s.TIMESTAMP in bag.source.sizes else None
    bag.time_rests_on = NO_TIMESTAMP
    if stamp is not None:
        bag.time_rests_on = check_timestamp(stamp, _bytes(bag, s.SIGNATURE), bag.head.at, authority, tell)
    bag.log = _read(bag, f"data/{s.LOG}", s.LogFile)
    photos = _read(bag, f"data/{s.PHOTOS}", s.PhotosFile)
    hashes = read_manifest(MANIFEST, _bytes(bag, MANIFEST).decode("utf-8", "replace"), Declaration(), _quiet).hashes
    if bag.log is not None:
        sequence.check_entries(bag.log, bag.head, tell)
        sequence.check_times(bag.log, bag.head, tell)
        sequence.check_earlier(bag.log, bag.head, tell)
        bindings.check_records(bag.log, hashes, tell)
        story = bindings.read_json(bag.source, f"data/{s.JOB}")
        check_story(bag.log, story, lambda text: bindings.logged_record(bag.source, hashes, text), tell)
        _fits(bag, bag.log, hashes)
        _tell_erased(bag, bag.log)
    if bag.log is not None and photos is not None:
        bindings.check_photos(bag.log, photos, hashes, tell)
    _tell_limits(bag, photos, hashes)


def _fits(bag: _Bag, log: s.LogFile, hashes: Mapping[str, str]) -> None:
    keys = _read(bag, f"data/{s.KEYS}", s.KeysFile)
    missing = bindings.check_fits(log, bag.source, hashes, () if keys is None else keys.keys, collector(bag.faults))
    bag.told += [f"{NO_FIT}: {one}" for one in missing]


def _tell_limits(bag: _Bag, photos: s.PhotosFile | None, hashes: Mapping[str, str]) -> None:
    """Tell what no bag can show by itself."""
    lines = () if photos is None else photos.photos
    for line in lines:
        if line.file is None:
            named = ", ".join(line.names)
            bag.told.append(f"photo {named} is not in the bag, only its hash {line.sha256}: {line.left_out}")
    if copies := sum(line.file is not None and not line.original for line in lines):
        bag.told.append(f"photos that are copies without position: {copies}. {COPIES}")
    if any(path.startswith("data/report/") for path in hashes):
        bag.told.append(REPORT)


def _signature(bag: _Bag, head: s.Head) -> None:
    tell = collector(bag.faults)
    message = s.to_sign(_bytes(bag, s.HEAD), _bytes(bag, TAG_MANIFEST))
    if not holds(head.public_key, _bytes(bag, s.SIGNATURE), message):
        tell(Kind.SIGNATURE, s.SIGNATURE, "does not hold: what was signed is not what is here")
    if head.manifest_sha256 != s.sha256(_bytes(bag, MANIFEST)):
        tell(Kind.SIGNATURE, MANIFEST, "is not the one that was signed")


def _key(bag: _Bag, head: s.Head, expected: str | None) -> None:
    tell = collector(bag.faults)
    keys = _read(bag, f"data/{s.KEYS}", s.KeysFile)
    chain = () if keys is None else keys.keys
    if chain and (chain[-1].public_key != head.public_key or not chain_holds(chain)):
        tell(
            Kind.KEY,
            f"data/{s.KEYS}",
            "its keys are not handed over, each signed by the one before, to the one that signed",
        )
        chain = ()
    number = fingerprint(head.public_key)
    if expected is None:
        bag.told.append("whose key is expected was not said: have the shop read out the number of theirs")
    elif expected in (number, head.public_key):
        bag.told.append("the key is the one expected")
    elif expected in [told for key in chain for told in (key.public_key, fingerprint(key.public_key))]:
        bag.told.append(f"the key {number} was handed over from the one expected, and signed by it")
    else:
        tell(Kind.KEY, s.HEAD, f"signed with another key than the one expected: {number}")


def _tell_erased(bag: _Bag, log: s.LogFile) -> None:
    for entry in (*log.entries, *log.people):
        if entry.text is None:
            bag.told.append(
                f"{sequence.name_of(entry)} was erased: {entry.erased}. Its hash {entry.hash} stays in the tree"
            )
    if not any(sequence.told(entry).get("kind") == "job" for entry in log.entries):
        bag.told.append(NO_JOB)
    named = {str(sequence.told(entry)["person"]) for entry in log.entries if "person" in sequence.told(entry)}
    there = {str(sequence.told(entry).get("number")) for entry in log.people}
    bag.told += [f"the name of person {number} is not in the bag: it was erased" for number in sorted(named - there)]


def _after(bag: _Bag, older: Path) -> None:
    tell = collector(bag.faults)
    old = _look(older, intact=True)
    if old.head is not None:
        _signature(old, old.head)
    bag.faults += [Fault(fault.kind, f"{older.name}: {fault.where}", fault.what) for fault in old.faults]
    old.log = _read(old, f"data/{s.LOG}", s.LogFile)
    if old.head is None or old.log is None or bag.head is None or bag.log is None:
        return
    manifest = s.sha256(_bytes(old, TAG_MANIFEST))
    sequence.check_after(old.head, old.log, manifest, bag.head, bag.log, tell)
    keys = _read(bag, f"data/{s.KEYS}", s.KeysFile)
    if keys is not None and old.head.public_key not in [key.public_key for key in keys.keys]:
        number = fingerprint(old.head.public_key)
        tell(
            Kind.KEY,
            s.HEAD,
            f"the older bag was signed with another key, {number}, which did not hand over to this one",
        )


def _read(bag: _Bag, path: str, kind: type[_File]) -> _File | None:
    """Read a file of the seal; what keeps it from being read is a fault."""
    data = _bytes(bag, path)
    if not data:
        return None
    try:
        return kind.model_validate_json(data)
    except ValidationError as error:
        bag.faults.append(Fault(Kind.FORM, path, f"cannot be read as part of a seal ({first_fault(error)})"))
        return None


def _bytes(bag: _Bag, path: str) -> bytes:
    """Return a file that is read as a whole, once; empty, with a fault, when it is not there or cannot be read."""
    if path not in bag.files:
        bag.files[path] = b""
        try:
            bag.files[path] = read(bag.source, path)
        except KeyError:
            if not any(fault.kind is Kind.MISSING and fault.where == path for fault in bag.faults):
                bag.faults.append(Fault(Kind.MISSING, path, "is not there, so that this is no whole seal of prepcheck"))
        except OSError as error:
            bag.faults.append(Fault(Kind.CHANGED, path, f"cannot be read ({error.strerror or error})"))
    return bag.files[path]


def _expected(key: str) -> str:
    """Return a fingerprint as printed, or a public key, from what a person typed."""
    packed = "".join(key.split()).lower()
    if len(packed) == 40 and packed.isdecimal() and packed.isascii():
        return " ".join(packed[at : at + 5] for at in range(0, 40, 5))
    if len(packed) == 64 and all(letter in "0123456789abcdef" for letter in packed):
        return packed
    raise WrongUse("is no fingerprint of a key", "Give the 40 digits that the shop reads out", key)


def _quiet(_kind: Kind, _where: str, _what: str) -> None:
    """Take no fault: the manifest's were told when the bag was looked at."""
