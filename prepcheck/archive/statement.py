"""The files that a seal writes into a bag, as models: written in canonical JSON (RFC 8785), read as untrusted."""

from __future__ import annotations

import hashlib
from typing import Annotated, Any, Literal

import rfc8785
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

from prepcheck.archive.keys import Hex32, PublicKey

HEAD, SIGNATURE, TIMESTAMP, PAGE = "head.json", "head.sig", "head.tsr", "check.html"
LOG, JOB, PHOTOS, MODELS, KEYS = "log.json", "job.json", "photos.json", "models.json", "keys.json"
"""Below ``data/``."""
BESIDE = frozenset({SIGNATURE, TIMESTAMP, "tagmanifest-sha256.txt"})
"""Files that no manifest can list: they came after it."""

Word = Annotated[str, StringConstraints(max_length=300)]
Salt = Annotated[str, StringConstraints(pattern="^([0-9a-f]{2}){0,64}$")]
Count = Annotated[int, Field(ge=0, le=2**40)]
Proof = Annotated[tuple[Hex32, ...], Field(max_length=64)]


class Part(BaseModel):
    """Base of all parts."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class SealRef(Part):
    """An earlier seal: the SHA-256 of its tag manifest, and the tree head that it fixed."""

    manifest_sha256: Hex32
    size: Count
    root: Hex32


class Head(Part):
    """What the shop signs.

    `entries` is the number of the job's own entries, `size` and `root` are those of the tree over the whole log,
    `manifest_sha256` is that of the payload manifest, `previous` the seal before this one, of whatever job.
    """

    statement: Literal["prepcheck seal"] = "prepcheck seal"
    version: Literal[1] = 1
    program: Word
    job: Word
    entries: Count
    size: Count
    root: Hex32
    manifest_sha256: Hex32
    previous: SealRef | None
    public_key: Hex32
    at: AwareDatetime
    time_is: Literal["the shop's own word"] = "the shop's own word"


class EntryLine(Part):
    """A leaf of the log as `prepcheck.store.rows.Leaf` has it, with the hashes that lead from it to the root."""

    index: Count
    job: Word
    nth: Count
    salt: Salt
    text: str | None
    hash: Hex32
    erased: str
    proof: Proof


class EarlierLine(SealRef):
    """An earlier seal of any job, with the hashes that show that this log goes on from it."""

    job: Word
    bag: Word
    at: AwareDatetime
    proof: Proof


class LogFile(Part):
    """``log.json``: the job's entries, those of the people named in them, and all earlier seals, each in order."""

    entries: tuple[EntryLine, ...]
    people: tuple[EntryLine, ...]
    earlier: tuple[EarlierLine, ...]


class PhotoLine(Part):
    """A photo or clip of the job: SHA-256 of the original, and the file that stands for it, or why there is none."""

    sha256: Hex32
    names: tuple[str, ...]
    format: Word
    file: Word | None
    file_sha256: Hex32 | None
    original: bool
    """Whether the file is the original, byte for byte."""
    left_out: str = ""
    erased: bool = False
    """Whether it is left out because it was lawfully erased."""


class PhotosFile(Part):
    """``photos.json``."""

    photos: tuple[PhotoLine, ...]


class ModelLine(Part):
    """A model that answers rest on; `card` is the file with its data, limits and measured figures, if at hand."""

    name: Word
    sha256: Hex32
    card: Word | None


class ModelsFile(Part):
    """``models.json``."""

    models: tuple[ModelLine, ...]


class KeysFile(Part):
    """``keys.json``: the shop's public keys, oldest first; the last signed this bag."""

    keys: Annotated[tuple[PublicKey, ...], Field(min_length=1)]


def canonical(thing: Any) -> bytes:
    """Return canonical JSON (RFC 8785) of a part or of plain data."""
    return rfc8785.dumps(thing.model_dump(mode="json") if isinstance(thing, BaseModel) else thing)


def to_sign(head: bytes, tag_manifest: bytes) -> bytes:
    """Return the message that is signed: the two files' SHA-256 in the lines that ``sha256sum`` prints."""
    lines = ((head, HEAD), (tag_manifest, "tagmanifest-sha256.txt"))
    return b"prepcheck seal 1\n" + b"".join(f"{sha256(data)}  {name}\n".encode() for data, name in lines)


def record_file(inspection: int) -> str:
    """Return the name of the file with the record of an inspection, below ``data/``."""
    return f"records/inspection-{inspection:06}.json"


def sha256(data: bytes) -> str:
    """Return the SHA-256 in hex."""
    return hashlib.sha256(data).hexdigest()
