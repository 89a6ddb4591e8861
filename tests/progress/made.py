"""An invented workshop's apprentices, Mika and Rune, and what they logged: as plain shots, and in a log of its own."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from prepcheck import tasks
from prepcheck.archive import Archive
from prepcheck.progress.shots import Shot, SpotWork, spots_of
from prepcheck.record import JointRecord, PatchRecord, PersonRecord, Record, SideRecord, SpotRecord
from prepcheck.settings import Settings
from prepcheck.store import NewJob
from prepcheck.store.store import Store
from prepcheck.terms import Standing
from tests.store.logs import copy_log
from tests.store.records import record_for

START = datetime(2026, 9, 1, 9, 0, tzinfo=UTC)
BRIGHT, LEFT, UNSURE, RETAKE = Standing.BRIGHT, Standing.RESIDUE_LEFT, Standing.CANNOT_TELL, Standing.RETAKE
WORDS = {"b": BRIGHT, "r": LEFT, "c": UNSURE, "t": RETAKE}
RING = [(10.0, 10.0), (90.0, 10.0), (90.0, 70.0), (10.0, 70.0)]
"""Outline of a spot 80 x 60 pixels, of a width of 69."""


def day(count: float) -> datetime:
    """Return nine o'clock so many days after the first of September."""
    return START + timedelta(days=count)


def shot(number: int, standing: Standing = BRIGHT, spot: int = 1, pass_no: int = 1, **more: Any) -> Shot:
    """Make a shot of Mika's, logged so many days after the start as its number says."""
    told: dict[str, Any] = {"job": "J-0001", "title": "Bowser", "spot_name": "", "person": "Mika", "at": day(number)}
    told |= {"outline": 1, **more}
    return Shot(number=number, spot=spot, pass_no=pass_no, standing=standing, **told)


def spots(*told: str, person: str = "Mika") -> list[SpotWork]:
    """Make a spot for each word: ``rcb`` is residue left, then cannot tell, then bright; one spot a day."""
    made = [
        shot(100 * k + n, WORDS[letter], spot=k, pass_no=n, person=person, at=day(k) + timedelta(hours=n))
        for k, word in enumerate(told, start=1)
        for n, letter in enumerate(word, start=1)
    ]
    return spots_of(made)


def patch(
    at: tuple[float, float], state: str = "oxide", area: float = 64, length: float = 8, **more: Any
) -> PatchRecord:
    """Make a patch of the shape of a small square."""
    length_mm = more.pop("length_mm", None)
    return PatchRecord(
        state=state, at=at, area_px=area, area_mm2=None, length_px=length, length_mm=length_mm, probability=0.9,
        sure=True, **more,
    )  # fmt: skip


def ground(
    largest: PatchRecord | None = None, standing: Standing = LEFT, mm_per_px: float | None = None, **more: Any
) -> SpotRecord:
    """Make a spot with its largest patch."""
    told: dict[str, Any] = {"number": 1, "outline": RING, "shares": {"bright": 0.9, "oxide": 0.1}, **more}
    return SpotRecord(
        area_px=4800,
        area_mm2=None,
        mm_per_px=mm_per_px,
        bright_share=0.9,
        interval=(0.8, 0.95),
        readable_share=1.0,
        worst_unit_area=0.9,
        worst_unit_interval=(0.8, 0.95),
        worst_unit_outline=[],
        largest_patch_mm=None if largest is None else largest.length_mm,
        largest_patch=largest,
        patches=0 if largest is None else 1,
        standing=standing,
        reason="told",
        **told,
    )


def joint(line: list[tuple[float, float]], touching: list[PatchRecord] | None = None) -> JointRecord:
    """Make a joint line with a margin to its left."""
    side = SideRecord(
        name="left", shares={"residue": 1.0}, area_mm2=1.0, clear_mm=0.0,
        outline=[(10.0, 10.0), (50.0, 10.0), (50.0, 70.0), (10.0, 70.0)],
    )  # fmt: skip
    return JointRecord(line=line, margin_mm=25.0, sides=[side], touching=touching or [])


def answer(spot: SpotRecord, seam: JointRecord | None = None, by_person: PersonRecord | None = None) -> Record:
    """Make an answer with one spot."""
    return record_for(b"photo", spot, by_person=by_person).model_copy(update={"joint": seam})


def copied(seeded: Path, folder: Path) -> Path:
    """Copy a store into an empty folder, to add to it."""
    copy_log(seeded, folder)
    return Path(shutil.copytree(seeded, folder, dirs_exist_ok=True))


class Workshop:
    """A log in a folder in which apprentices log made-up answers.

    Parameters
    ----------
    folder : Path
        An empty one.
    """

    def __init__(self, folder: Path) -> None:
        self.store: Store
        self.archive: Archive
        self.store, self.archive = tasks.open_log(folder, Settings())
        self.count = 0

    def job(self, title: str = "Bowser, seam (invented demo)") -> str:
        """Open a job."""
        return tasks.open_job(self.store, NewJob(title), person="Ola", at=START).number

    def log(
        self,
        standing: Standing,
        spot: int = 1,
        pass_no: int = 1,
        *,
        person: str = "Mika",
        job: str = "J-0001",
        at: datetime | None = None,
        data: bytes | None = None,
        largest: PatchRecord | None = None,
        corrects: int | None = None,
        picture_hash: str = "",
        taken: str | None = None,
        shop_fit: str | None = None,
    ) -> int:
        """Log a photo of its own, unless its bytes are given; returns the number of the inspection."""
        self.count += 1
        photo = b"photo %d" % self.count if data is None else data
        record = record_for(photo, ground(largest, standing), picture_hash=picture_hash, taken=taken)
        record = record.model_copy(update={"origin": record.origin.model_copy(update={"shop_fit": shop_fit})})
        place: dict[str, Any] = {"job": job, "spot": str(spot), "pass_no": pass_no, "person": person}
        when = day(self.count) if at is None else at
        return tasks.log_inspection(
            self.store, self.archive, record, photo, at=when, corrects=corrects, **place
        ).inspection

    def day_by_day(self, *told: str, person: str = "Mika", job: str = "J-0001", first: int = 1) -> None:
        """Log a spot for each word, as `spots` makes them."""
        for k, word in enumerate(told, start=first):
            for n, letter in enumerate(word, start=1):
                self.log(WORDS[letter], k, n, person=person, job=job, at=day(k) + timedelta(hours=n))
