"""The command ``prepcheck batch``, worked on in this process by the net that reads painted plates."""

from __future__ import annotations

import json
import zipfile

import pytest

from prepcheck.cli import batch_text
from prepcheck.errors import StoreBusy
from tests import painted
from tests.batch.small import Here, paint_folder, palette_workers
from tests.command import photo_bytes

__all__ = ["palette_workers"]
pytestmark = pytest.mark.usefixtures("palette", "palette_workers", "crew")


@pytest.fixture
def crew(monkeypatch):
    """Keeps the work in this process."""
    made = Here()
    monkeypatch.setattr("prepcheck.batch.call.crew_of", lambda *_: made)
    return made


@pytest.fixture
def photos(command):
    """Three photos: one clean, two with residue."""
    return paint_folder(command.folder / "photos", "a.jpg", "b.jpg", "c.jpg")


def batch(command, *arguments):
    return command("batch", "photos", "--out", "out", "--mm-per-px", "0.4", *arguments)


def plain(done):
    return json.loads(done.out)


def test_photos_become_tables_and_a_sheet(command, photos):
    done = batch(command, "--no-parquet")
    assert done.code == 1
    assert done.out.splitlines()[-4:] == [
        f"Written: out/{name}" for name in ("photos.csv", "photos.jsonl", "sheet.html", "sheet.png")
    ]
    assert all((command.folder / "out" / name).stat().st_size for name in ("photos.csv", "sheet.html", "sheet.png"))


def test_what_there_is_and_what_is_left_out_is_said_before(command, photos):
    (photos / "notes.txt").write_text("x")
    assert batch(command).err.splitlines()[0] == "3 photos, 3 to look at; left out: 1 no photo by its name"


def test_a_second_call_goes_on(command, photos, crew):
    batch(command)
    done = batch(command)
    assert done.err.splitlines()[0] == "3 photos, 0 to look at, 3 done before"
    assert sorted(crew.worked) == ["a.jpg", "b.jpg", "c.jpg"]


def test_photos_of_a_set_in_the_table_are_one_answer(command, photos, crew):
    (command.folder / "sets.csv").write_text("file,set\nb.jpg,torch\na.jpg,torch\n")
    told = plain(batch(command, "--json", "--sidecar", "sets.csv"))
    assert (sorted(crew.worked), told["photos"]) == (["b.jpg", "c.jpg"], 2)


def test_json_is_one_object(command, photos):
    told = plain(batch(command, "--json", "--no-parquet"))
    assert (told["photos"], told["looked_at"], sum(told["standings"].values()), told["errors"]) == (3, 3, 3, 0)


def test_clean_photos_alone_need_no_person(command):
    paint_folder(command.folder / "photos", "a.jpg")
    assert batch(command).code == 0


def test_a_broken_file_is_told_and_the_rest_go_on(command, photos):
    (photos / "broken.jpg").write_bytes(b"")
    done = batch(command)
    assert done.code == 3
    assert "prepcheck: broken.jpg: is empty. Copy the file again from the phone." in done.err
    assert done.out.startswith("not read 1, residue left")


def test_of_very_many_broken_files_the_first_are_told(command, photos):
    for number in range(batch_text._MOST_TOLD + 3):
        (photos / f"{number:02}.jpg").write_bytes(b"")
    assert batch(command).err.splitlines()[-1].startswith("prepcheck: 3 more could not be looked at")


def test_a_zip_file_is_a_source(command, photos):
    with zipfile.ZipFile(command.folder / "photos.zip", "w") as file:
        file.write(photos / "a.jpg", "x/a.jpg")
    assert plain(command("batch", "photos.zip", "--out", "out", "--json"))["photos"] == 1


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (("batch", "empty", "--out", "out"), "empty: holds no photo. Name the folder with the photos."),
        (("batch", "gone", "--out", "out"), "gone: is neither a folder nor a zip file"),
        (("batch", "photos", "--out", "photos/out"), "photos/out: lies among the photos"),
        (("batch", "--out", "out"), "SOURCE is missing"),
        (("batch", "photos", "--out", "out", "--log"), "--log goes with --again"),
        (("batch", "photos", "--out", "out", "--again"), "--again takes photos and places from the log"),
        (("batch", "--out", "out", "--again", "--log"), "nobody answers for what is logged"),
        (("batch", "photos", "--out", "out", "--mm-per-px", "0"), "a scale must lie between"),
        (("batch", "photos", "--out", "out", "--names", "{where}"), "{where}: names no field"),
        (("batch", "photos", "--out", "out", "--job", "1"), ": holds no log yet"),
    ],
)
def test_wrong_use_is_said_before_anything_is_written(command, photos, arguments, complaint):
    (command.folder / "empty").mkdir()
    done = command(*arguments)
    assert done.code == 2
    assert complaint in done.complaint
    assert not (command.folder / "out").exists()


def test_a_second_batch_in_the_same_folder_is_told(command, photos, monkeypatch):
    def busy(path):
        raise StoreBusy("another batch works in this folder", "Wait for it", "out")

    monkeypatch.setattr("prepcheck.batch.batch.Ledger", busy)
    assert batch(command).complaint == "out: another batch works in this folder. Wait for it."


def test_photos_are_logged_by_their_names(command):
    command.open_job()
    paint_folder(command.folder / "photos", "1_neck_1.jpg", "1_seam_1.jpg", "other.jpg")
    done = batch(command, "--names", "{job}_{spot}_{pass_no}", "--person", "Ida", "--json")
    assert (plain(done)["logged"], len(command.story())) == (2, 2)


def test_photos_are_logged_by_a_table(command, photos):
    command.open_job()
    (command.folder / "t.csv").write_text("file,job,spot,pass_no,person\na.jpg,1,2,1,Ida\n")
    batch(command, "--sidecar", "t.csv")
    assert [(one["photo_name"], one["person"]) for one in command.story()] == [("a.jpg", "Ida")]


def test_a_fault_in_the_table_is_said_with_its_line_and_nothing_is_done(command, photos, crew):
    command.open_job()
    (command.folder / "t.csv").write_text("file,job,spot,pass_no,person\na.jpg,1,2,1,Ida\nb.jpg,1,2,1,Idda\n")
    done = batch(command, "--sidecar", "t.csv")
    assert (done.code, crew.worked, command.story()) == (2, [], [])
    assert done.complaint.startswith("t.csv: line 3: b.jpg: Idda: is nobody the log knows")


def test_a_person_new_to_the_log_is_taken_when_that_is_said(command, photos):
    command.open_job()
    (command.folder / "t.csv").write_text("file,job,spot,pass_no,person\na.jpg,1,2,1,Mika\n")
    batch(command, "--sidecar", "t.csv", "--new-people")
    assert [one["person"] for one in command.story()] == ["Mika"]


def test_photos_without_any_place_are_told(command, photos):
    command.open_job()
    done = batch(command, "--job", "1")
    assert done.complaint.startswith("photos: no photo has all of job, spot and person")


def test_what_could_not_be_logged_needs_a_person(command):
    command.open_job()
    paint_folder(command.folder / "photos", "a.jpg")
    done = batch(command, "--job", "1", "--spot", "1", "--person", "Ida")
    assert (done.code, "Logged 0; 1 could not be logged, see the table" in done.out) == (1, True)


def test_watching_takes_photos_as_they_come_until_ctrl_c(command, photos, monkeypatch):
    rounds = iter(range(9))

    def pause(seconds):
        number = next(rounds)
        if number == 3:
            (photos / "new.jpg").write_bytes(photo_bytes(painted.plate(size=(120, 160), spot=(80, 60, 40))))
        if number == 7:
            raise KeyboardInterrupt

    monkeypatch.setattr("prepcheck.batch.watch.QUIET_S", 0.0)
    monkeypatch.setattr("prepcheck.cli.batch.time.sleep", pause)
    done = batch(command, "--watch", "--json")
    assert (done.code, plain(done)["photos"], plain(done)["looked_at"]) == (1, 4, 4)
    assert [line for line in done.err.splitlines() if "looked at" in line] == [
        "3 photos looked at; now residue left 2, bright 1",
        "1 photo looked at; now residue left 2, bright 2",
    ]


def test_ctrl_c_says_how_to_go_on(command, photos, monkeypatch):
    def stop(self, tasks):
        raise KeyboardInterrupt

    monkeypatch.setattr(Here, "work", stop)
    done = batch(command)
    assert (done.code, done.err.splitlines()[-1]) == (130, "Stopped. Call again with the same --out to go on.")


def test_the_logs_photos_are_looked_at_again(command, photos):
    command.open_job()
    command.log("photos/b.jpg", "--mm-per-px", "0.4")
    (command.folder / "s.toml").write_text("[score]\nresidue_limit = 0.9\npatch_limit_mm = 60.0\n")
    done = command("batch", "--again", "--out", "again", "--settings", "s.toml", "--log", "--person", "Ida")
    assert done.code == 1
    assert done.out.startswith("1 inspections; 1 (100.0 %) have another standing now.")
    assert [one["corrects"] for one in command.story()] == [None, 1]


@pytest.mark.parametrize(
    ("seconds", "words"), [(0, "0 s"), (89, "89 s"), (90, "2 min"), (3600, "60 min"), (12_000, "3 h 20 min")]
)
def test_a_time_is_said_roughly(seconds, words):
    assert batch_text.left_words(seconds) == words


def test_a_line_now_and_then_says_how_far_it_is(monkeypatch, capsys):
    clock = iter([0.0, 5.0, 20.0, 21.0])
    monkeypatch.setattr("prepcheck.cli.batch_text.time.monotonic", lambda: next(clock))
    with batch_text.progress(4) as step:
        for _ in range(3):
            step()
    assert capsys.readouterr().err == "2 of 4, 20 s left\n"
