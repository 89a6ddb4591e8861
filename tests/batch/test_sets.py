"""Clips and moved-light sets in a batch: each is one piece of work, with one answer."""

from __future__ import annotations

import pickle
import unicodedata
from contextlib import closing
from pathlib import Path

import cv2
import numpy as np
import pytest

from prepcheck import light_set, looking, passes
from prepcheck.batch.batch import open_batch
from prepcheck.batch.call import in_sets
from prepcheck.batch.log import LogCount
from prepcheck.batch.placing import read_placing
from prepcheck.batch.run import Way
from prepcheck.batch.sets import INCOMPLETE, Sets
from prepcheck.batch.sources import Folder, Item, Most, read_all, survey
from prepcheck.batch.work import PhotoTask, sha256_of, work_on
from prepcheck.errors import WrongUse
from prepcheck.looking import Look
from prepcheck.photo.align import Alignment
from prepcheck.record import LINE, Record
from tests import painted
from tests.batch.small import MOST, SETTINGS, SPEC, Here, looked_at, plate
from tests.batch.test_log import Bench
from tests.store.records import AT

pytestmark = pytest.mark.usefixtures("palette_workers")


@pytest.fixture(autouse=True)
def aligned(monkeypatch: pytest.MonkeyPatch) -> None:
    """Makes every photo lie on every other."""
    for module in (light_set, passes):
        monkeypatch.setattr(module, "align", lambda *_: Alignment(np.eye(3), 0.4, 80, "features"))


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def clip(path: Path) -> Path:
    """Write a clip of a torch that sweeps over a painted plate."""
    states = painted.plate(size=(240, 320), spot=(160, 120, 80))
    video = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"mp4v"), 30, (320, 240))
    for number in range(24):
        torch = 1 - 0.1 * np.abs(np.linspace(-1, 1, 320) - np.linspace(-1, 1, 24)[number]) / 2
        video.write((painted.paint(states, seed=number)[:, :, ::-1] * torch[None, :, None]).astype(np.uint8))
    video.release()
    return path


def lines(out: Path) -> dict[str, Record]:
    """Return the answers in the table of a batch, by name."""
    read = [LINE.validate_json(line) for line in (out / "photos.jsonl").read_text().splitlines()]
    return {one.photo.name: one for one in read if isinstance(one, Record)}


def batch(folder: Path, out: Path, table: str) -> list[str]:
    """Do the batch of a folder with a table beside it, and return the names of what was worked on."""
    (folder.parent / "table.csv").write_text(table)
    placing = read_placing(call={}, names=None, sidecar=folder.parent / "table.csv")
    crew = Here()
    opened = open_batch(in_sets(Folder(folder, MOST), placing), Way(SPEC, placing.scale_of), out, parquet=False)
    with closing(opened.ledger):
        opened.look(crew)
        opened.write()
    return crew.worked


def write(folder: Path, *names: str) -> Path:
    """Write plates that all differ."""
    folder.mkdir(exist_ok=True)
    for number, name in enumerate(names):
        (folder / name).write_bytes(plate(10 + 3 * number))
    return folder


# clips


def test_a_clip_is_one_task_with_the_answer_of_an_inspection(tmp_path):
    folder = tmp_path / "photos"
    folder.mkdir()
    path = clip(folder / "sweep.mp4")
    assert looked_at(folder, tmp_path / "out") == ["sweep.mp4"]
    alone = looking.look_at(path, Look(SETTINGS, painted.model(), 0.4), None, AT).line
    assert isinstance(alone, Record)
    in_batch = lines(tmp_path / "out")["sweep.mp4"]
    assert (in_batch.standing, in_batch.interval, len(in_batch.photos)) == (
        alone.standing,
        alone.interval,
        len(alone.photos),
    )


def test_a_clip_is_looked_at_once(tmp_path):
    folder = write(tmp_path / "photos")
    clip(folder / "sweep.mov")
    looked_at(folder, tmp_path / "out")
    assert looked_at(folder, tmp_path / "out") == []


def test_a_clip_may_be_larger_than_a_photo(tmp_path):
    for name in ("a.jpg", "a.mp4"):
        (tmp_path / name).write_bytes(b"12345")
    source = Folder(tmp_path, Most(4, 5))
    assert source.read(Item("a.mp4")) == b"12345"
    with pytest.raises(Exception, match="holds more than"):
        source.read(Item("a.jpg"))


def test_a_damaged_clip_is_a_line_of_the_table_and_the_rest_go_on(tmp_path):
    folder = write(tmp_path / "photos", "a.jpg")
    (folder / "b.mp4").write_bytes(b"no clip")
    assert sorted(looked_at(folder, tmp_path / "out")) == ["a.jpg", "b.mp4"]
    assert list(lines(tmp_path / "out")) == ["a.jpg"]


def test_a_clip_is_logged_once_however_often_the_batch_is_run(bench):
    clip(bench.photos / "sweep.mp4")
    bench.table.write_text("file,pass_no\nsweep.mp4,1\n")
    assert bench.run() == LogCount(logged=1)
    assert bench.run() == LogCount(before=1)
    (one,) = bench.store.story("J-0001").inspections
    assert (one.photo_name, len(one.photos) > 1) == ("sweep.mp4", True)


# sets


def test_photos_that_the_table_puts_together_are_one_set_in_its_order(tmp_path):
    folder = write(tmp_path / "photos", "a.jpg", "b.jpg", "c.jpg", "d.jpg")
    worked = batch(folder, tmp_path / "out", "file,set\nc.jpg,left\na.jpg,left\nb.jpg,\n")
    assert sorted(worked) == ["b.jpg", "c.jpg", "d.jpg"]
    found = lines(tmp_path / "out")
    assert [photo.name for photo in found["c.jpg"].photos] == ["c.jpg", "a.jpg"]
    assert found["b.jpg"].photos in ([], None)


def test_a_set_is_looked_at_again_when_one_of_its_photos_changed(tmp_path):
    folder = write(tmp_path / "photos", "a.jpg", "b.jpg", "c.jpg")
    table = "file,set\na.jpg,1\nb.jpg,1\n"
    batch(folder, tmp_path / "out", table)
    assert batch(folder, tmp_path / "out", table) == []
    (folder / "b.jpg").write_bytes(plate(28))
    assert batch(folder, tmp_path / "out", table) == ["a.jpg"]


def test_another_order_of_a_set_is_another_answer(tmp_path):
    folder = write(tmp_path / "photos", "a.jpg", "b.jpg", "c.jpg")
    batch(folder, tmp_path / "out", "file,set\na.jpg,1\nb.jpg,1\nc.jpg,1\n")
    assert batch(folder, tmp_path / "out", "file,set\na.jpg,1\nc.jpg,1\nb.jpg,1\n") == ["a.jpg"]


def test_a_set_is_logged_once_under_its_first_photo(bench):
    for name, oxide in (("a.jpg", 10), ("b.jpg", 13)):
        bench.photo(name, oxide)
    bench.table.write_text("file,pass_no,set\na.jpg,1,x\nb.jpg,1,x\n")
    assert bench.run() == LogCount(logged=1)
    assert bench.run() == LogCount(before=1)
    (one,) = bench.store.story("J-0001").inspections
    assert one.photos == ("a.jpg", "b.jpg")


def test_photos_that_were_logged_one_by_one_are_corrected_by_their_set(bench):
    for name, oxide in (("a.jpg", 10), ("b.jpg", 13)):
        bench.photo(name, oxide)
    bench.table.write_text("file,pass_no\na.jpg,1\nb.jpg,2\n")
    bench.run()
    bench.table.write_text("file,pass_no,set\na.jpg,1,x\nb.jpg,1,x\n")
    assert bench.run() == LogCount(logged=1)
    assert bench.logged()[-1] == (1, 1, "a.jpg", 1)


def test_a_set_whose_photos_are_not_all_there_is_left_out_with_the_reason(tmp_path):
    folder = write(tmp_path / "photos", "a.jpg", "c.jpg")
    found = survey(Sets(Folder(folder, MOST), (("a.jpg", "b.jpg"),)))
    assert (found.photos, found.left_out) == (1, {INCOMPLETE: 1})


def test_names_of_a_set_are_found_in_any_unicode_form(tmp_path):
    decomposed = unicodedata.normalize("NFD", "ä.jpg")
    folder = write(tmp_path / "photos", decomposed, "b.jpg")
    items = [item for item in Sets(Folder(folder, MOST), (("b.jpg", "ä.jpg"),)).items() if item.more]
    assert [item.more for item in items] == [(decomposed,)]
    assert len(read_all(Folder(folder, MOST), items[0])) == 2


def test_a_set_travels_to_where_its_source_is_not(tmp_path):
    folder = write(tmp_path / "photos", "a.jpg", "b.jpg")
    task = PhotoTask(1, Item("a.jpg", more=("b.jpg",)), Folder(folder, MOST), SPEC).carrying()
    files = [(folder / name).read_bytes() for name in ("a.jpg", "b.jpg")]
    for name in ("a.jpg", "b.jpg"):
        (folder / name).unlink()
    done = work_on(pickle.loads(pickle.dumps(task)))
    assert (done.error, done.sha256) == ("", sha256_of(files))


@pytest.mark.parametrize(
    ("table", "fault"),
    [
        ("file,set\na.jpg,1\n", "line 2: set 1 has 1 photos; a moved-light set has 2 to 6"),
        ("file,spot,set\na.jpg,1,1\nb.jpg,2,1\n", "line 3: says something else than line 2 of its set 1"),
        ("file,set\na.jpg,1\nb.mp4,1\n", r"line 3: b\.mp4 is a clip, a set of its own"),
    ],
)
def test_a_table_that_puts_together_what_is_no_set_is_refused(tmp_path, table, fault):
    (tmp_path / "table.csv").write_text(table)
    with pytest.raises(WrongUse, match=fault):
        read_placing(call={}, names=None, sidecar=tmp_path / "table.csv")
