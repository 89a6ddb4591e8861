"""Small made-up answers, and other processes, for the tests of the log."""

from __future__ import annotations

import hashlib
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

from prepcheck import __version__, tasks
from prepcheck.archive import Archive
from prepcheck.record import (
    FlagRecord,
    OriginRecord,
    PersistingRecord,
    PersonRecord,
    PhotoRecord,
    Record,
    SinceLastPass,
    SpotRecord,
)
from prepcheck.settings import Settings
from prepcheck.store import NewJob
from prepcheck.store.store import Store
from prepcheck.terms import Standing
from tests.store.logs import LogCopy

AT = datetime(2026, 11, 24, 10, 12, tzinfo=UTC)
MODEL, SETTINGS = "a" * 64, "b" * 64
PLACE: dict[str, Any] = {"job": "J-0001", "spot": "1", "pass_no": 1, "person": "Ida", "at": AT}
ROOT = Path(__file__).parents[2]


def spot(number: int = 1, standing: str = "residue left", by: str = "tool", share: float = 0.82) -> SpotRecord:
    """Make a spot of a record."""
    return SpotRecord(
        number=number,
        outlined_by="person" if by == "person" else "tool",
        outline=[(0.0, 0.0), (9.0, 0.0), (9.0, 9.0)],
        area_px=50,
        area_mm2=None,
        mm_per_px=None,
        bright_share=share,
        interval=(0.74, 0.89),
        shares={"bright": 0.8, "oxide": 0.2},
        readable_share=0.9,
        worst_unit_area=0.7,
        worst_unit_interval=(0.6, 0.8),
        worst_unit_outline=[],
        largest_patch_mm=None,
        largest_patch=None,
        patches=1,
        standing=Standing(standing),
        reason="more residue than the limit",
    )


def record_for(
    data: bytes,
    *spots: SpotRecord,
    picture_hash: str = "",
    taken: str | None = None,
    name: str = "bowser.jpg",
    by_person: PersonRecord | None = None,
    position: tuple[float, float] | None = None,
    flags: tuple[str, ...] = ("no_scale",),
) -> Record:
    """Make an answer for the photo `data` that shows `spots`."""
    sha256 = hashlib.sha256(data).hexdigest()
    photo = PhotoRecord(
        name=name,
        sha256=sha256,
        width=100,
        height=80,
        mm_per_px=None,
        format="JPEG",
        bytes=len(data),
        picture_hash=picture_hash,
        taken=taken,
        position=position,
    )
    return Record(
        photo=photo,
        standing=spots[0].standing if spots else Standing.RETAKE,
        flags=[FlagRecord(code=code, blocking=False) for code in flags],
        score=82.0 if spots else None,
        bright_share=0.82 if spots else None,
        interval=(0.74, 0.89) if spots else None,
        spots=list(spots),
        by_person=by_person,
        next_step="Grind again.",
        cautions=[],
        origin=OriginRecord(
            version=__version__, model="m", model_sha256=MODEL, settings_sha256=SETTINGS, photo_sha256=sha256
        ),
    )


def drawn_by_person(*spots: SpotRecord, refused: dict[int, str]) -> PersonRecord:
    """Make what a person changed about the outlines."""
    return PersonRecord(
        refused=refused, spots=list(spots), standing=spots[0].standing, bright_share=0.8, interval=(0.6, 0.9)
    )


def set_of(*files: bytes, spots: tuple[SpotRecord, ...] = (), position: tuple[float, float] | None = None) -> Record:
    """Make an answer for a moved-light set of the photos `files`."""
    record = record_for(files[0], *(spots or (spot(),)), position=position)
    photos = [record_for(data, name=f"light {n}.jpg", position=position).photo for n, data in enumerate(files, start=1)]
    return record.model_copy(update={"photos": photos})


def since(inspection: int = 1, *patches: int, pass_no: int = 1, reason: str = "") -> SinceLastPass:
    """Make a comparison with an earlier inspection; `patches` says in how many passes each persisting one was seen."""
    shares = {
        "newly_bright": 0.3,
        "still_residue": 0.1,
        "newly_exposed": 0.05,
        "still_bright": 0.5,
        "not_comparable": 0.05,
    }
    persisting = [
        PersistingRecord(
            at=(4, 4), area_px=9, area_mm2=6.2, since=1, passes=n, probability=0.95, outline=[(0, 0), (4, 0)]
        )
        for n in patches
    ]
    told = {"error_px": 0.6, "shares": shares, "persisting": persisting} if not reason else {"reason": reason}
    return SinceLastPass(inspection=inspection, pass_no=pass_no, **told)  # type: ignore[arg-type]


@cache
def _new_log() -> LogCopy:
    with tempfile.TemporaryDirectory() as folder:
        store, _ = tasks.open_log(Path(folder), Settings())
        tasks.open_job(store, NewJob("Bowser, crack at the filler neck"), person="Ida", at=AT)
        return LogCopy(store)


def new_log(folder: Path) -> tuple[Store, Archive]:
    """Make a log with the job J-0001 in it; migrated once for all tests, then copied."""
    _new_log().put(folder)
    return tasks.open_log(folder, Settings())


def start(code: str, *arguments: object) -> subprocess.Popen[str]:
    """Start another Python process that runs `code` with `arguments` in ``sys.argv``."""
    command = [sys.executable, "-c", code, *map(str, arguments)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def run(code: str, *arguments: object) -> str:
    """Run `code` in another Python process and return what it printed."""
    with start(code, *arguments) as process:
        printed, complaint = process.communicate(timeout=60)
    assert process.returncode == 0, complaint
    return printed
