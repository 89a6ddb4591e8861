"""A small invented job, its log and its bags, for the tests of sealing: made without a store."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import rfc8785

from prepcheck.archive.keys import ShopKey, shop_key
from prepcheck.archive.seal import Evidence, ModelIn, PhotoIn, SealedBag, seal
from prepcheck.archive.statement import sha256
from prepcheck.archive.verify import Depth, Verification, verify
from prepcheck.merkle import leaf_hash
from prepcheck.store.rows import Leaf, Seal
from prepcheck.trade.entries import Sealed
from tests import painted
from tests.photo.pictures import jpeg

AT = datetime(2026, 11, 24, 10, 0, tzinfo=UTC)
JOB = "J-0001"
PHOTO = jpeg(painted.paint(painted.plate(size=(48, 64), spot=(32, 24, 12))))
RECORD = rfc8785.dumps({"photo": {"name": "a.jpg", "sha256": sha256(PHOTO), "format": "JPEG"}, "standing": "retake"})


def minutes(count: int) -> str:
    """Return the time `count` minutes after the job was opened."""
    return (AT + timedelta(minutes=count)).isoformat()


def leaf(index: int, nth: int, text: dict[str, Any], job: str = JOB) -> Leaf:
    """Make a leaf of the log."""
    salt = hashlib.sha256(bytes([index])).digest()[:16]
    told = rfc8785.dumps(text).decode()
    return Leaf(index, job, nth, salt.hex(), told, leaf_hash(salt + told.encode()).hex())


def note(index: int, nth: int, number: int, text: str, at: int, job: str = JOB) -> Leaf:
    """Make the leaf of a person's note."""
    entry = {"kind": "note", "text": text}
    told = {"kind": "event", "number": number, "at": minutes(at), "person": 1, "role": "", "job": job, "entry": entry}
    return leaf(index, nth, told, job)


def erasure(leaves: list[Leaf], sha256: str, reason: str) -> list[Leaf]:
    """Return the log after something was erased in it."""
    entry = {"kind": "erased", "what": "something", "sha256": sha256, "reason": reason}
    return [*leaves, _event(leaves, entry, 65)]


def _event(leaves: list[Leaf], entry: dict[str, Any], at: int) -> Leaf:
    nth = sum(1 for one in leaves if one.job == JOB) + 1
    told = {"kind": "event", "number": 50 + nth, "at": minutes(at), "person": 1, "role": "", "job": JOB}
    return leaf(len(leaves), nth, {**told, "entry": entry})


def inspection(index: int, nth: int, number: int, at: int) -> Leaf:
    """Make the leaf of an inspection of `PHOTO` with `RECORD`."""
    told = {"kind": "inspection", "number": number, "at": minutes(at), "person": 1, "job": JOB}
    return leaf(index, nth, {**told, "photos": [sha256(PHOTO)], "record_sha256": sha256(RECORD)})


def log() -> list[Leaf]:
    """Return a log with two jobs and one person; four entries are of the job."""
    opened = {
        "kind": "job",
        "number": 1,
        "at": minutes(0),
        "person": 1,
        "job": JOB,
        "title": "Bowser, crack at the neck",
    }
    return [
        leaf(0, 1, {"kind": "person", "number": 1, "name": "Ola"}, ""),
        leaf(1, 1, opened),
        inspection(2, 2, 1, 5),
        note(3, 1, 1, "another job's note", 6, "J-0002"),
        note(4, 3, 2, "ground with a new disc", 7),
        note(5, 4, 3, "wiped with acetone", 8),
    ]


def evidence(leaves: list[Leaf] | None = None, **changes: Any) -> Evidence:
    """Return what is sealed of the job in a log."""
    leaves = log() if leaves is None else leaves
    told = [json.loads(one.text) for one in leaves if one.text is not None and one.job == JOB]
    records = {one["number"]: RECORD.decode() for one in told if one["kind"] == "inspection"}
    made = Evidence(
        job=JOB,
        story=story(told, changes.get("records", records)),
        records=records,
        photos=[PhotoIn(sha256(PHOTO), "JPEG", ("a.jpg",))],
        models=[ModelIn("eye-3", "e" * 64, b'{"limits": "told here"}')],
        leaves=leaves,
    )
    return replace(made, **changes)


def story(told: list[dict[str, Any]], records: Mapping[int, str], opener: str = "Ola") -> dict[str, Any]:
    """Return the story of the job that entries of the log tell."""
    by_kind: dict[str, list[dict[str, Any]]] = {kind: [] for kind in ("job", "inspection", "event")}
    for one in told:
        by_kind[one["kind"]].append({**one, "person": opener})
    inspections = [{**one, **answer(records.get(one["number"]))} for one in by_kind["inspection"]]
    jobs = [{**one, "number": JOB, "opened_at": one["at"], "opened_by": opener} for one in by_kind["job"]]
    erased = {"title": "erased", "part": "", "customer_reference": ""}
    spots = [{"passes": [{"inspections": inspections}]}]
    return {"job": jobs[0] if jobs else erased, "spots": spots, "events": by_kind["event"]}


def answer(record: str | None) -> dict[str, Any]:
    """Return what a story tells of a record without spots."""
    told = json.loads(record or "{}")
    photo, standing = told.get("photo", {}), told.get("standing")
    return {
        **{"standing": standing, "tool_standing": standing, "photo_name": photo.get("name"), "reason": ""},
        **{"photos": [photo.get("name")], "photo_sha256": photo.get("sha256"), "refused": {}, "drawn": []},
        **{"origin": "prepcheck None, None", "corrected_by": [], "disagreements": []},
    }


def shop(folder: Path) -> ShopKey:
    """Return the key of the shop whose store lies in `folder`."""
    return shop_key(folder, AT)


def sealed(
    out: Path, what: Evidence | None = None, key: ShopKey | None = None, at: int = 60, **options: Any
) -> SealedBag:
    """Seal the job, an hour after it was opened."""
    key = shop(out.parent) if key is None else key
    what = evidence() if what is None else what
    return seal(what, key, out, at=AT + timedelta(minutes=at), photo_bytes=lambda _: PHOTO, **options)


def logged(seal: Sealed, at: int = 60) -> Seal:
    """Return a seal as the log tells it."""
    return Seal(9, JOB, minutes(at), "Ola", seal)


def with_seal(leaves: list[Leaf], seal: Sealed, at: int) -> list[Leaf]:
    """Return the log after a seal was logged in it."""
    return [*leaves, _event(leaves, seal.model_dump(), at)]


def opened(bag: Path) -> Path:
    """Make the files of a bag writable, as anybody can who has it, and return it."""
    for path in [bag, *bag.rglob("*")]:
        path.chmod(0o755 if path.is_dir() else 0o644)
    return bag


def opened_file(path: Path) -> Path:
    """Make a file writable and return it."""
    path.chmod(0o644)
    return path


def listed_anew(bag: Path) -> None:
    """Write both manifests anew, as somebody would who hides a change but has no key."""
    payload = sorted(path for path in (bag / "data").rglob("*") if path.is_file())
    (bag / "manifest-sha256.txt").write_text(_lines(bag, payload))
    octets = sum(path.stat().st_size for path in payload)
    info = [line for line in (bag / "bag-info.txt").read_text().splitlines() if not line.startswith("Payload-Oxum")]
    (bag / "bag-info.txt").write_text("\n".join([*info, f"Payload-Oxum: {octets}.{len(payload)}"]) + "\n")
    beside = {"head.sig", "head.tsr", "tagmanifest-sha256.txt"}
    tags = sorted(path for path in bag.iterdir() if path.is_file() and path.name not in beside)
    (bag / "tagmanifest-sha256.txt").write_text(_lines(bag, tags))


def _lines(bag: Path, files: list[Path]) -> str:
    return "".join(f"{sha256(path.read_bytes())}  {path.relative_to(bag).as_posix()}\n" for path in files)


def copy(bag: Path, name: str = "copy") -> Path:
    """Return a writable copy of a bag."""
    return opened(Path(shutil.copytree(bag, bag.with_name(name))))


def faults(bag: Path, depth: str = "signed", **options: Any) -> list[tuple[str, str]]:
    """Return kind and place of each fault of a bag."""
    return [(fault.kind.value, fault.where) for fault in looked(bag, depth, **options).faults]


def looked(bag: Path, depth: str = "signed", **options: Any) -> Verification:
    """Verify a bag."""
    return verify(bag, Depth(depth), **options)
