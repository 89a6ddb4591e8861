"""Answers into the log: in the order of passes, each once, and what cannot be logged is told."""

from __future__ import annotations

from contextlib import closing
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from prepcheck import passes
from prepcheck.batch.batch import open_batch
from prepcheck.batch.call import in_sets
from prepcheck.batch.log import Log, LogCount
from prepcheck.batch.placing import read_placing
from prepcheck.batch.run import Way
from prepcheck.batch.sources import Folder
from prepcheck.batch.work import LookSpec
from prepcheck.errors import StoreFault
from prepcheck.looking import Look
from prepcheck.photo.align import Alignment
from prepcheck.settings import ScoreSettings, Settings
from prepcheck.store.store import Store
from tests import painted
from tests.batch.small import MOST, SPEC, Here, plate
from tests.command import two_spots
from tests.photo.pictures import exif
from tests.store.records import AT, new_log

pytestmark = pytest.mark.usefixtures("palette_workers")
OTHER = LookSpec.of(Look(Settings(score=ScoreSettings(residue_limit=0.2)), painted.model(), 0.4))


@pytest.fixture(autouse=True)
def aligned(monkeypatch: pytest.MonkeyPatch) -> None:
    """Makes every photo lie on every other."""
    monkeypatch.setattr(passes, "align", lambda *_: Alignment(np.eye(3), 0.4, 80, "features"))


class Bench:
    """A folder of photos, a log with the job J-0001, and batches that log the one into the other."""

    def __init__(self, folder: Path) -> None:
        self.photos, self.out, self.table = folder / "photos", folder / "out", folder / "places.csv"
        self.photos.mkdir()
        (folder / "store").mkdir()
        self.store, self.archive = new_log(folder / "store")

    def photo(self, name: str, oxide: int, minute: int | None = None) -> None:
        """Write a plate taken at a minute of the day, or at none."""
        when = {} if minute is None else {"exif": exif(x9003=f"2026:03:01 10:{minute:02}:00")}
        (self.photos / name).write_bytes(plate(oxide, **when))

    def run(self, spec: LookSpec = SPEC, **call: str | None) -> LogCount:
        """Look at all photos and log them; by table if there is one, else by the call."""
        said = {"job": "1", "spot": "1", "person": "Ida", **call}
        sidecar = self.table if self.table.exists() else None
        placing = read_placing(call=said, names=None, sidecar=sidecar)
        log = Log(self.store, self.archive, placing)
        source = in_sets(Folder(self.photos, MOST), placing)
        batch = open_batch(source, Way(spec, placing.scale_of), self.out, log, parquet=False)
        with closing(batch.ledger):
            batch.look(Here())
            count = batch.add_to_log(AT + timedelta(hours=1))
            self.faults = {row.name: row.placed.fault for row in batch.ledger.rows() if row.placed and row.placed.fault}
            self.places = {row.name: row.placed for row in batch.ledger.rows()}
        return count

    def logged(self) -> list[tuple[int, int, str, int | None]]:
        """Return spot, pass, photo and what it corrects, in the order in which they were logged."""
        found = [
            (one.number, (spot.number, of_pass.pass_no, one.photo_name, one.corrects))
            for spot in self.store.story("J-0001").spots
            for of_pass in spot.passes
            for one in of_pass.inspections
        ]
        return [told for _, told in sorted(found)]


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_without_pass_numbers_the_order_of_capture_times_counts(bench):
    for name, oxide, minute in (("c.jpg", 30, 1), ("a.jpg", 20, 3), ("b.jpg", 10, 2)):
        bench.photo(name, oxide, minute)
    assert bench.run() == LogCount(logged=3)
    assert bench.logged() == [(1, 1, "c.jpg", None), (1, 2, "b.jpg", None), (1, 3, "a.jpg", None)]


def test_each_pass_is_compared_with_the_one_before(bench):
    bench.photo("a.jpg", 30, 1)
    bench.photo("b.jpg", 10, 2)
    bench.run()
    _, second = bench.store.story("J-0001").inspections
    assert second.since is not None
    assert second.since.shares["newly_bright"] > 0.1


def test_each_earlier_pass_is_looked_at_again_once(bench, monkeypatch):
    own, again = passes.look_again, []
    monkeypatch.setattr(
        passes, "look_again", lambda record, *more: again.append(record.photo.name) or own(record, *more)
    )
    for number in range(6):
        bench.photo(f"{number}.jpg", 10 + 2 * number, number)
    bench.run()
    assert again == ["0.jpg", "1.jpg", "2.jpg", "3.jpg", "4.jpg"]
    assert all(one.since is not None for one in bench.store.story("J-0001").inspections[1:])


def test_a_table_says_which_pass_a_photo_is_of(bench):
    bench.photo("a.jpg", 10, 1)
    bench.photo("b.jpg", 30, 2)
    bench.table.write_text("file,spot,pass_no,note\na.jpg,neck,2,\nb.jpg,neck,1,after the weekend\n")
    bench.run(spot=None)
    assert bench.logged() == [(1, 1, "b.jpg", None), (1, 2, "a.jpg", None)]
    assert bench.store.story("J-0001").inspections[0].note == "after the weekend"


def test_running_again_logs_nothing_twice(bench):
    bench.photo("a.jpg", 20, 1)
    bench.photo("b.jpg", 10, 2)
    bench.run()
    before = bench.logged()
    assert bench.run() == LogCount(before=2)
    assert bench.logged() == before


def test_a_lost_ledger_logs_nothing_twice(bench):
    bench.photo("a.jpg", 20, 1)
    bench.run()
    for path in bench.out.iterdir():
        path.unlink()
    assert bench.run() == LogCount(before=1)
    assert [place.inspection for place in bench.places.values()] == [1]


def test_photos_that_come_later_go_on_from_the_last_pass(bench):
    bench.photo("a.jpg", 20, 1)
    bench.run()
    bench.photo("b.jpg", 10, 2)
    assert bench.run() == LogCount(logged=1, before=1)
    assert bench.logged()[-1] == (1, 2, "b.jpg", None)


def test_the_same_photo_under_two_names_is_logged_once(bench):
    bench.photo("a.jpg", 20, 1)
    bench.photo("copy.jpg", 20, 1)
    assert bench.run() == LogCount(logged=1, before=1)


def test_under_another_look_a_new_inspection_corrects_the_old_one(bench):
    bench.photo("a.jpg", 20, 1)
    bench.run()
    bench.run(OTHER)
    assert bench.logged() == [(1, 1, "a.jpg", None), (1, 1, "a.jpg", 1)]
    assert bench.run(OTHER) == LogCount(before=1)


def test_a_photo_without_pass_and_time_is_told_and_the_rest_are_logged(bench):
    bench.photo("a.jpg", 20)
    bench.photo("b.jpg", 10, 2)
    assert bench.run() == LogCount(logged=1, faults=1)
    assert "has no pass number and no capture time" in bench.faults["a.jpg"]


def test_a_photo_with_several_outlines_is_told(bench):
    two_spots(bench.photos / "two.jpg")
    bench.table.write_text("file,pass_no\ntwo.jpg,1\n")
    bench.run()
    assert "shows outlines 1, 2" in bench.faults["two.jpg"]


def test_the_table_can_say_which_outline_it_is(bench):
    two_spots(bench.photos / "two.jpg")
    bench.table.write_text("file,pass_no,outline\ntwo.jpg,1,2\n")
    assert bench.run() == LogCount(logged=1)
    assert bench.store.story("J-0001").inspections[0].outline == 2


def test_a_photo_that_changes_before_it_is_logged_is_told(bench, monkeypatch):
    bench.photo("a.jpg", 20, 1)
    looked = Folder.read
    times = iter([False, True])
    monkeypatch.setattr(Folder, "read", lambda self, item: looked(self, item) + (b"!" if next(times) else b""))
    assert bench.run() == LogCount(faults=1)
    assert "changed since it was looked at" in bench.faults["a.jpg"]


def test_a_broken_photo_is_not_logged(bench):
    (bench.photos / "a.jpg").write_bytes(b"\xff\xd8\xff nothing")
    assert bench.run() == LogCount()


def test_a_log_that_cannot_be_written_stops_all_and_the_next_run_goes_on(bench, monkeypatch):
    bench.photo("a.jpg", 20, 1)
    bench.photo("b.jpg", 10, 2)
    really, times = Store.log, iter([False, True])

    def full(self, entry):
        if next(times):
            raise StoreFault("no room", "Make room")
        return really(self, entry)

    monkeypatch.setattr(Store, "log", full)
    with pytest.raises(StoreFault):
        bench.run()
    monkeypatch.setattr(Store, "log", really)
    assert bench.run() == LogCount(logged=1, before=1)
    assert bench.logged() == [(1, 1, "a.jpg", None), (1, 2, "b.jpg", None)]
