"""A batch as a whole: nothing is looked at twice, nothing is lost, and the outputs are the same whatever happened."""

from __future__ import annotations

import os
from contextlib import closing
from pathlib import Path

import pytest

from prepcheck.batch.batch import Plan, check_apart
from prepcheck.batch.run import Way
from prepcheck.batch.sources import NO_PHOTO, Folder, Survey
from prepcheck.batch.work import LookSpec
from prepcheck.errors import CannotWrite, WrongUse
from prepcheck.looking import Look
from prepcheck.settings import ScoreSettings, Settings
from tests import painted
from tests.batch.small import MOST, SPEC, Backwards, Here, ledger, looked_at, opened, paint_folder, plate

pytestmark = pytest.mark.usefixtures("palette_workers")
TABLES = ("photos.csv", "photos.jsonl", "sheet.html", "sheet.png")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three photos, one of them below, and a file that is none."""
    made = paint_folder(tmp_path / "photos", "a.jpg", "b.jpg", "c/d.jpg")
    (made / "broken.jpg").write_bytes(b"\xff\xd8\xff nothing")
    (made / "notes.txt").write_text("x")
    return made


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "out"


def outputs(out: Path) -> dict[str, bytes]:
    return {name: (out / name).read_bytes() for name in TABLES}


def rows(out: Path, *, earlier: bool = False) -> list[str]:
    with closing(ledger(out)) as made:
        return [row.name for row in (made.earlier() if earlier else made.rows())]


def test_every_photo_is_looked_at_once(folder, out):
    assert sorted(looked_at(folder, out)) == ["a.jpg", "b.jpg", "broken.jpg", "c/d.jpg"]
    assert rows(out) == ["a.jpg", "b.jpg", "broken.jpg", "c/d.jpg"]


def test_a_second_run_looks_at_nothing(folder, out):
    looked_at(folder, out)
    before = outputs(out)
    assert looked_at(folder, out) == []
    assert outputs(out) == before


def test_a_second_run_looks_at_what_was_added(folder, out):
    looked_at(folder, out)
    (folder / "new.jpg").write_bytes(plate(9))
    assert looked_at(folder, out) == ["new.jpg"]


def test_a_photo_whose_bytes_changed_is_looked_at_again_and_both_are_kept(folder, out):
    looked_at(folder, out)
    (folder / "a.jpg").write_bytes(plate(20))
    assert looked_at(folder, out) == ["a.jpg"]
    assert (rows(out).count("a.jpg"), rows(out, earlier=True)) == (1, ["a.jpg"])
    assert (out / "earlier.jsonl").read_text().count("\n") == 1


def test_a_photo_that_was_only_touched_is_read_but_not_looked_at(folder, out, monkeypatch):
    looked_at(folder, out)
    before = outputs(out)
    os.utime(folder / "a.jpg")
    monkeypatch.setattr(Look, "inspect", None)
    assert looked_at(folder, out) == ["a.jpg"]
    assert outputs(out) == before
    assert looked_at(folder, out) == []


@pytest.mark.parametrize(
    "other",
    [
        SPEC.stating(0.2),
        LookSpec.of(Look(Settings(score=ScoreSettings(residue_limit=0.2)), painted.model(), 0.4)),
        LookSpec.of(Look(Settings(), painted.model(error_scale=0.9), 0.4)),
    ],
    ids=["another scale", "other settings", "another calibration"],
)
def test_under_another_look_all_are_looked_at_again_and_both_are_kept(folder, out, other):
    looked_at(folder, out)
    assert len(looked_at(folder, out, spec=other)) == 4
    assert rows(out, earlier=True) == ["a.jpg", "b.jpg", "broken.jpg", "c/d.jpg"]


def test_a_photo_that_could_not_be_read_is_tried_again(folder, out):
    (folder / "gone.jpg").symlink_to("nowhere")
    looked_at(folder, out)
    assert looked_at(folder, out) == ["gone.jpg"]


def test_a_file_that_is_gone_keeps_its_row(folder, out):
    looked_at(folder, out)
    (folder / "a.jpg").unlink()
    looked_at(folder, out)
    assert "a.jpg" in rows(out)


def test_outputs_do_not_depend_on_the_order_of_work(folder, out, tmp_path):
    looked_at(folder, out)
    looked_at(folder, tmp_path / "other", Backwards())
    assert outputs(out) == outputs(tmp_path / "other")


def test_a_scale_can_be_stated_of_single_photos(folder, out):
    batch = opened(folder, out)
    way = Way(LookSpec.of(Look(Settings(), painted.model())), {"a.jpg": 0.5}.get)
    with closing(batch.ledger):
        type(batch)(batch.source, way, out, batch.ledger, False).look(Here())
        scales = {row.name: getattr(row.record.photo, "mm_per_px", None) for row in batch.ledger.rows()}
    assert scales == {"a.jpg": 0.5, "b.jpg": None, "broken.jpg": None, "c/d.jpg": None}


def test_the_plan_counts_what_there_is_and_what_is_left(folder, out):
    looked_at(folder, out)
    (folder / "new.jpg").write_bytes(plate(9))
    batch = opened(folder, out)
    size = sum(path.stat().st_size for path in folder.rglob("*.jpg"))
    with closing(batch.ledger):
        assert batch.plan() == Plan(Survey(5, size, {NO_PHOTO: 1}), 1)


@pytest.mark.parametrize(("names", "code"), [(["a.jpg"], 0), (["a.jpg", "b/worse.jpg"], 1)])
def test_the_exit_code_says_whether_a_person_is_needed(tmp_path, out, names, code):
    folder = paint_folder(tmp_path / "some", *names)
    (folder / names[-1]).write_bytes(plate(25 * code))
    batch = opened(folder, out)
    with closing(batch.ledger):
        batch.look(Here())
        assert batch.exit_code == code


def test_a_photo_that_cannot_be_read_counts_more_than_one_with_residue(folder, out):
    batch = opened(folder, out)
    with closing(batch.ledger):
        batch.look(Here())
        assert batch.exit_code == 3


@pytest.mark.parametrize("inside", ["", "results", "c/results"])
def test_outputs_do_not_go_among_the_photos(folder, inside):
    with pytest.raises(WrongUse, match="lies among the photos"):
        check_apart(folder, folder / inside)


def test_outputs_go_beside_the_photos(folder, out):
    check_apart(folder, out)


def test_files_of_somebody_else_are_not_written_over(folder, out):
    out.mkdir()
    (out / "photos.csv").write_text("mine")
    with pytest.raises(WrongUse, match=r"has a photos\.csv that is none of a batch here"):
        opened(folder, out)


def test_a_folder_that_cannot_be_written_is_told(folder, tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(CannotWrite):
        opened(folder, tmp_path / "file" / "out")


def test_a_batch_without_photos_has_an_empty_table_and_no_picture(tmp_path, out):
    (tmp_path / "none").mkdir()
    batch = opened(tmp_path / "none", out, source=Folder(tmp_path / "none", MOST))
    with closing(batch.ledger):
        assert [path.name for path in batch.write()] == ["photos.csv", "photos.jsonl", "sheet.html"]
