"""Seals a job: all its evidence in one bag, with the proofs that it is a part of the log, signed with the shop's key.

What a bag holds besides the files of BagIt::

    head.json            what is signed        head.sig   the signature (Ed25519)
    head.tsr             a timestamp of head.sig, added later by `prepcheck timestamp`
    check.html           compares the hashes in a browser
    data/job.json        the job, its spots, passes and entries as told by the log
    data/log.json        the job's entries as hashed, with proofs, and all earlier seals
    data/records/        the tool's answer for each inspection
    data/photos.json     every photo with the hash of its original     data/photos/   their files
    data/models.json     the models behind the answers                 data/models/   their cards
    data/shop-fits/      the signed files of the shop's own fits behind the answers; they name the photos that they rest on
    data/keys.json       the shop's public keys                        data/report/   reports, where given
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

from prepcheck import __version__
from prepcheck.archive import statement as s
from prepcheck.archive.archive import SUFFIXES
from prepcheck.archive.bag_write import BagWriter, bag_place
from prepcheck.archive.keys import ShopKey
from prepcheck.archive.shop_fit_file import FIT_FOLDER, fit_name
from prepcheck.archive.without_position import without_position
from prepcheck.errors import StoreFault
from prepcheck.merkle import Tree
from prepcheck.store.rows import Leaf, Seal
from prepcheck.trade.entries import Sealed

LEFT_OUT = "its position cannot be taken out without coding it anew; sealing --with-position includes it"


@dataclass(frozen=True)
class PhotoIn:
    """A photo or clip of the job; `erased` is the reason when its bytes were lawfully erased."""

    sha256: str
    format: str
    names: tuple[str, ...]
    erased: str = ""


@dataclass(frozen=True)
class ModelIn:
    """A model behind the job's answers; `card` is None when it is not at hand."""

    name: str
    sha256: str
    card: bytes | None


@dataclass(frozen=True)
class Evidence:
    """All that is sealed.

    Parameters
    ----------
    job : str
        The job's number.
    story : mapping
        The job as told by the log, plain data.
    records : mapping of int to str
        Canonical JSON of each inspection's record, by its number.
    photos, models, reports
        Photos and models without repetition; bytes of report files by name.
    leaves : sequence of Leaf
        Those of the whole log.
    earlier : sequence of Seal
        All seals of the log, oldest first.
    fits : mapping of str to bytes
        The signed files of the shop's own fits behind the answers, by SHA-256.
    """

    job: str
    story: Mapping[str, Any]
    records: Mapping[int, str]
    photos: Sequence[PhotoIn]
    models: Sequence[ModelIn]
    leaves: Sequence[Leaf]
    earlier: Sequence[Seal] = ()
    reports: Mapping[str, bytes] | None = None
    fits: Mapping[str, bytes] = field(default_factory=dict)


@dataclass(frozen=True)
class SealedBag:
    """What was sealed; `left_out` are photos that only their hashes stand for, with the reason."""

    path: Path
    sealed: Sealed
    entries: int
    photos: int
    left_out: tuple[s.PhotoLine, ...]


def seal(
    evidence: Evidence,
    key: ShopKey,
    out: Path,
    *,
    at: datetime,
    photo_bytes: Callable[[str], bytes],
    as_zip: bool = False,
    with_position: bool = False,
    before_move: Callable[[Path, Sealed], None] = lambda _path, _sealed: None,
) -> SealedBag:
    """Write a signed bag.

    Parameters
    ----------
    evidence : Evidence
        What is sealed.
    key : ShopKey
        Signs it.
    out : Path
        Folder or zip file to make.
    at : datetime
        When, by the shop's own clock.
    photo_bytes : callable
        Gives the bytes of an original by its SHA-256.
    as_zip, with_position : bool
        Whether to write a zip file; whether to include the originals with their position.
    before_move : callable
        Called with the finished bag, not yet in its place, and what is to be logged of it.

    Raises
    ------
    NameClash, StoreFull, StoreFault
        Nothing was sealed; see `prepcheck.archive.bag_write.bag_place`.
    """
    writing = _Sealing(evidence, key, at, with_position)
    sealed: list[Sealed] = []
    with bag_place(
        out, as_zip=as_zip, owner=key.mark, before_move=lambda beside: before_move(beside, sealed[0])
    ) as sink:
        manifest_sha256 = writing.write(BagWriter(sink), photo_bytes)
        root = writing.tree.root.hex()
        sealed.append(Sealed(bag=out.name, manifest_sha256=manifest_sha256, size=len(writing.tree), root=root))
    lines = writing.lines
    left_out = tuple(line for line in lines if line.file is None)
    return SealedBag(out, sealed[0], len(writing.log.entries), len(lines) - len(left_out), left_out)


_BACKUP = ("Bring the log back from a backup", "the log")


class _Sealing:
    """Writes the files of a seal in order."""

    def __init__(self, evidence: Evidence, key: ShopKey, at: datetime, with_position: bool) -> None:
        self.evidence, self.key, self.at, self.with_position = evidence, key, at, with_position
        if [leaf.index for leaf in evidence.leaves] != list(range(len(evidence.leaves))):
            raise StoreFault("has lost entries; nothing was sealed", *_BACKUP)
        try:
            self.tree = Tree([bytes.fromhex(leaf.hash) for leaf in evidence.leaves])
            self.log = _log(evidence, self.tree)
        except (ValueError, KeyError, AttributeError) as error:
            raise StoreFault("holds entries that cannot be read; nothing was sealed", *_BACKUP) from error
        self.lines: list[s.PhotoLine] = []

    def write(self, bag: BagWriter, photo_bytes: Callable[[str], bytes]) -> str:
        """Write the whole bag and return the SHA-256 of its tag manifest."""
        bag.payload(s.JOB, s.canonical(self.evidence.story))
        bag.payload(s.LOG, s.canonical(self.log))
        for number, text in self.evidence.records.items():
            bag.payload(s.record_file(number), text.encode())
        for name, data in (self.evidence.reports or {}).items():
            bag.payload(f"report/{name}", data)
        self.lines = [self._photo(bag, photo, photo_bytes) for photo in self.evidence.photos]
        bag.payload(s.PHOTOS, s.canonical(s.PhotosFile(photos=tuple(self.lines))))
        bag.payload(s.MODELS, s.canonical(s.ModelsFile(models=tuple(self._models(bag)))))
        for named, data in self.evidence.fits.items():
            bag.payload(f"{FIT_FOLDER}/{fit_name(named)}", data)
        bag.payload(s.KEYS, s.canonical(s.KeysFile(keys=self.key.public_keys)))
        return self._sign(bag)

    def _sign(self, bag: BagWriter) -> str:
        info = {
            "Bag-Software-Agent": f"prepcheck {__version__}",
            "Bagging-Date": self.at.date().isoformat(),
            "External-Identifier": self.evidence.job,
        }
        head = s.canonical(self._head(bag.close_payload(info)))
        bag.tag(s.HEAD, head)
        bag.tag(s.PAGE, check_page())
        tags = bag.close()
        bag.beside(s.SIGNATURE, self.key.sign(s.to_sign(head, tags)))
        return s.sha256(tags)

    def _head(self, manifest_sha256: str) -> s.Head:
        last = self.log.earlier[-1] if self.log.earlier else None
        previous = last and s.SealRef(**{name: getattr(last, name) for name in s.SealRef.model_fields})
        return s.Head(
            program=f"prepcheck {__version__}",
            job=self.evidence.job,
            entries=len(self.log.entries),
            size=len(self.tree),
            root=self.tree.root.hex(),
            manifest_sha256=manifest_sha256,
            previous=previous,
            public_key=self.key.public,
            at=self.at,
        )

    def _photo(self, bag: BagWriter, photo: PhotoIn, photo_bytes: Callable[[str], bytes]) -> s.PhotoLine:
        told: dict[str, Any] = {"sha256": photo.sha256, "names": photo.names, "format": photo.format}
        nothing: dict[str, Any] = {**told, "file": None, "file_sha256": None, "original": False}
        if photo.erased:
            return s.PhotoLine(**nothing, left_out=f"erased: {photo.erased}", erased=True)
        original = photo_bytes(photo.sha256)
        data = original if self.with_position else without_position(original, photo.format)
        if data is None:
            return s.PhotoLine(**nothing, left_out=LEFT_OUT)
        file = f"photos/{photo.sha256}{SUFFIXES.get(photo.format, '.bin')}"
        return s.PhotoLine(**told, file=file, file_sha256=bag.payload(file, data), original=data == original)

    def _models(self, bag: BagWriter) -> Iterator[s.ModelLine]:
        for model in self.evidence.models:
            card = None if model.card is None else f"models/{model.sha256}.json"
            if card is not None and model.card is not None:
                bag.payload(card, model.card)
            yield s.ModelLine(name=model.name, sha256=model.sha256, card=card)


def _log(evidence: Evidence, tree: Tree) -> s.LogFile:
    entries = [leaf for leaf in evidence.leaves if leaf.job == evidence.job]
    named = people_of(leaf.text for leaf in entries)
    people = [leaf for leaf in evidence.leaves if not leaf.job and person_number(leaf.text) in named]
    return s.LogFile(
        entries=tuple(_entry(leaf, tree) for leaf in entries),
        people=tuple(_entry(leaf, tree) for leaf in people),
        earlier=tuple(_earlier(one, tree) for one in evidence.earlier),
    )


def _entry(leaf: Leaf, tree: Tree) -> s.EntryLine:
    proof = tuple(hash.hex() for hash in tree.inclusion_proof(leaf.index))
    return s.EntryLine(**vars(leaf), proof=proof)


def _earlier(one: Seal, tree: Tree) -> s.EarlierLine:
    size = one.sealed.size
    proof = tuple(hash.hex() for hash in tree.consistency_proof(size)) if size <= len(tree) else ()
    told: dict[str, Any] = {"job": one.job, "at": datetime.fromisoformat(one.at), "proof": proof}
    return s.EarlierLine(**one.sealed.model_dump(exclude={"kind"}), **told)


def people_of(texts: Iterator[str | None]) -> set[int]:
    """Return the numbers of the people that entries name."""
    return {json.loads(text).get("person", 0) for text in texts if text is not None}


def person_number(text: str | None) -> int | None:
    """Return the number of the person that an entry of the log names; None when it is no such entry."""
    told = {} if text is None else json.loads(text)
    return told["number"] if told.get("kind") == "person" else None


def check_page() -> bytes:
    """Return the page that compares the hashes in a browser; it is the same in every bag."""
    return files("prepcheck.archive").joinpath(s.PAGE).read_bytes()
