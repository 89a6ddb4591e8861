"""What goes wrong with a store is said in one line, and nothing is lost or half written."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from prepcheck import tasks
from prepcheck.archive import Archive
from prepcheck.errors import StoreBusy, StoreFault, StoreFull, UnknownRecord
from prepcheck.settings import Settings, StoreSettings
from prepcheck.store import NewJob
from prepcheck.store.faults import sqlite_fault
from prepcheck.store.store import Store
from prepcheck.trade.entries import Note
from tests.store.logs import tamper
from tests.store.records import AT, PLACE, record_for, run, spot

HURRIED = Settings(store=StoreSettings(busy_seconds=0.1))


def logged_jobs(folder: Path) -> int:
    connection = sqlite3.connect(folder / "log.sqlite")
    try:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return int(connection.execute("SELECT count(*) FROM jobs").fetchone()[0])
    finally:
        connection.close()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE events SET body = '{}'",
        "UPDATE events SET at = 'noon'",
        "UPDATE events SET at = '2026-11-24T10:00:00'",
        "UPDATE results SET record = '{}'",
    ],
)
def test_rows_that_prepcheck_did_not_write_are_told_in_one_line(log, statement):
    store, archive = log
    tasks.log_inspection(store, archive, record_for(b"photo", spot()), b"photo", **PLACE)
    store.add_event("J-0001", Note(text="ground"), "Ida", AT)
    tamper(store, statement)
    for look in (lambda: store.story("J-0001"), lambda: store.moment("J-0001")):
        with pytest.raises(StoreFault, match="holds what prepcheck did not write"):
            look()


@pytest.mark.usefixtures("sqlite_only")
@pytest.mark.parametrize("lock", ["IMMEDIATE", "EXCLUSIVE"])
def test_a_store_locked_by_another_program_is_busy(log, tmp_path, lock):
    other = sqlite3.connect(tmp_path / "log.sqlite")
    other.execute(f"BEGIN {lock}")
    with pytest.raises(StoreBusy, match="is locked by another program"):
        tasks.open_job(tasks.open_log(tmp_path, HURRIED)[0], NewJob("Next"), person="Ida", at=AT)
    other.close()
    assert logged_jobs(tmp_path) == 1


@pytest.mark.usefixtures("sqlite_only")
def test_a_store_is_waited_for_as_long_as_set(log, tmp_path):
    code = """
import sqlite3, sys, time
other = sqlite3.connect(sys.argv[1])
other.execute("BEGIN IMMEDIATE")
print("locked", flush=True)
time.sleep(0.5)
"""
    command = [shutil.which("python3") or "python3", "-c", code, str(tmp_path / "log.sqlite")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "locked\n"
        assert tasks.open_job(log[0], NewJob("Next"), person="Ida", at=AT).number == "J-0002"


@pytest.mark.usefixtures("sqlite_only")
@pytest.mark.parametrize(
    "content", [b"this is no database, but long enough to look at" * 30, b"SQLite format 3\0" * 99]
)
def test_a_file_that_is_no_database_is_named_and_left_alone(tmp_path, content):
    path = tmp_path / "log.sqlite"
    path.write_bytes(content)
    with pytest.raises(StoreFault, match=r"log\.sqlite: is no log of prepcheck, or is damaged"):
        tasks.open_log(tmp_path, Settings())
    assert path.read_bytes() == content


@pytest.mark.usefixtures("sqlite_only")
def test_a_database_of_something_else_is_left_alone(tmp_path):
    other = sqlite3.connect(tmp_path / "log.sqlite")
    other.execute("CREATE TABLE recipes (name TEXT)")
    other.close()
    with pytest.raises(StoreFault, match="is a database, but no log of prepcheck"):
        tasks.open_log(tmp_path, Settings())


@pytest.mark.usefixtures("sqlite_only")
def test_a_log_with_overwritten_pages_is_damaged(log, tmp_path):
    path = tmp_path / "log.sqlite"
    data = bytearray(path.read_bytes())
    data[4096:] = b"\xa5" * (len(data) - 4096)
    path.write_bytes(data)
    with pytest.raises(StoreFault, match="is damaged"):
        tasks.list_jobs(tasks.open_log(tmp_path, Settings())[0])


@pytest.mark.usefixtures("sqlite_only")
def test_a_log_cut_short_is_damaged(log, tmp_path):
    path = tmp_path / "log.sqlite"
    with path.open("r+b") as file:
        file.truncate(5000)
    with pytest.raises(StoreFault, match="is damaged"):
        tasks.list_jobs(tasks.open_log(tmp_path, Settings())[0])


@pytest.mark.usefixtures("sqlite_only")
def test_an_empty_file_becomes_a_log(tmp_path):
    (tmp_path / "log.sqlite").touch()
    assert tasks.list_jobs(tasks.open_log(tmp_path, Settings())[0]) == []


def test_reading_makes_no_log_where_there_is_none(tmp_path):
    with pytest.raises(UnknownRecord, match="holds no log yet"):
        tasks.open_log(tmp_path / "nowhere", Settings(), create=False)
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.usefixtures("sqlite_only")
def test_a_file_where_the_folder_should_be_is_one_line(tmp_path):
    (tmp_path / "store").write_text("a file")
    with pytest.raises(StoreFault, match="cannot be used as a store"):
        tasks.open_log(tmp_path / "store", Settings())


@pytest.mark.usefixtures("sqlite_only")
@pytest.mark.parametrize("make", [Path.mkdir, os.mkfifo])
def test_a_folder_or_a_pipe_where_the_log_should_be_is_one_line(tmp_path, make):
    make(tmp_path / "log.sqlite")
    with pytest.raises(StoreFault, match=r"log\.sqlite: is no file"):
        tasks.open_log(tmp_path, Settings())


@pytest.mark.usefixtures("sqlite_only")
def test_an_input_output_error_with_room_left_is_no_full_disk(tmp_path):
    error = sqlite3.OperationalError("disk I/O error")
    error.sqlite_errorcode = sqlite3.SQLITE_IOERR_WRITE
    assert type(sqlite_fault(error, tmp_path / "log.sqlite")) is StoreFault


AS_ORDINARY_USER = """
import os, sys
from pathlib import Path
from prepcheck import tasks
from prepcheck.archive import Archive
from prepcheck.errors import StoreFault
from prepcheck.settings import Settings
from prepcheck.store import NewJob
from prepcheck.trade.entries import Note
from tests.store.logs import tamper
from tests.store.records import AT, PLACE, record_for, spot
folder, what = Path(sys.argv[1]), sys.argv[2]
tasks.open_log(folder / "warm-up", Settings())  # loads everything while it may be read
if os.getuid() == 0:
    os.setgroups([]), os.setgid(65534), os.setuid(65534)
try:
    store, archive = tasks.open_log(folder / what, Settings())
    if len(sys.argv) > 3:
        print(len(tasks.list_jobs(store)))
    else:
        tasks.log_inspection(store, archive, record_for(b"x", spot()), b"x", **PLACE)
except StoreFault as fault:
    print(type(fault).__name__, fault.message)
"""


@pytest.fixture
def shared_folder(sqlite_only: None) -> Iterator[Path]:
    """A folder that every user may look into, with a log in it that only its owner may write to."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        store, _ = tasks.open_log(folder / "closed", Settings())
        tasks.open_job(store, NewJob("Bowser"), person="Ida", at=AT)
        (folder / "closed" / "log.sqlite").chmod(0o444)
        (folder / "closed").chmod(0o555)
        (folder / "barred").mkdir(mode=0o700)
        yield folder
        (folder / "closed").chmod(0o755)


@pytest.mark.usefixtures("sqlite_only")
def test_an_ordinary_user_is_told_that_a_log_may_not_be_written_to(shared_folder):
    (shared_folder / "closed" / "photos").mkdir(mode=0o777)
    (shared_folder / "closed" / "photos").chmod(0o777)
    said = run(AS_ORDINARY_USER, shared_folder, "closed")
    assert "log.sqlite: may not be written to" in said


def test_an_ordinary_user_is_told_that_photos_may_not_be_added(shared_folder):
    said = run(AS_ORDINARY_USER, shared_folder, "closed")
    assert said.startswith("StoreFault")
    assert "no permission" in said


@pytest.mark.usefixtures("sqlite_only")
def test_an_ordinary_user_may_read_a_log_that_is_closed_for_writing(shared_folder):
    assert run(AS_ORDINARY_USER, shared_folder, "closed", "read").strip() == "1"


@pytest.mark.usefixtures("sqlite_only")
@pytest.mark.skipif(os.name == "nt" or os.getuid() != 0, reason="the owner may enter the folder")
def test_an_ordinary_user_is_told_of_a_folder_that_is_barred(shared_folder):
    said = run(AS_ORDINARY_USER, shared_folder, "barred")
    assert said.startswith("StoreFault")
    assert "no permission" in said


@pytest.mark.usefixtures("sqlite_only")
def test_an_ordinary_user_is_told_of_a_folder_that_cannot_be_made(shared_folder):
    assert "no permission" in run(AS_ORDINARY_USER, shared_folder, "closed/new")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 600 kB."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = shutil.which("mount")
    if mount is None or os.getuid() != 0:
        pytest.skip("needs root to mount a small disk")
    made = subprocess.run([mount, "-t", "tmpfs", "-o", "size=600k", "tmpfs", folder], capture_output=True, text=True)
    if made.returncode != 0:
        pytest.skip(f"cannot mount a small disk: {made.stderr.strip()}")
    yield folder
    subprocess.run(["umount", folder], check=True)


def fill(folder: Path) -> Path:
    filler = folder / "filler"
    with filler.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(bytes(4096))
        except OSError:
            return filler


def test_a_photo_on_a_full_disk_leaves_no_row_and_no_half_file(small_disk):
    store, archive = tasks.open_log(small_disk, Settings())
    tasks.open_job(store, NewJob("Bowser"), person="Ida", at=AT)
    large = os.urandom(700_000)
    with pytest.raises(StoreFull, match="no room left on the disk"):
        tasks.log_inspection(store, archive, record_for(large, spot()), large, **PLACE)
    assert tasks.job_story(store, "1").spots == ()
    assert [path for path in archive.folder.rglob("*") if path.is_file()] == []


@pytest.mark.usefixtures("sqlite_only")
def test_a_log_on_a_full_disk_keeps_what_it_has_and_goes_on_when_there_is_room(small_disk):
    store, _ = tasks.open_log(small_disk, Settings())
    tasks.open_job(store, NewJob("Bowser"), person="Ida", at=AT)
    filler = fill(small_disk)
    with pytest.raises(StoreFull, match=r"log\.sqlite: has no room left on its disk"):
        tasks.open_job(store, NewJob("Next"), person="Ida", at=AT)
    filler.unlink()
    assert logged_jobs(small_disk) == 1
    assert tasks.open_job(store, NewJob("Next"), person="Ida", at=AT).number == "J-0002"


def log_until_full(store: Store, archive: Archive) -> int:
    for count in range(1000):
        data = f"photo {count}".encode()
        try:
            tasks.log_inspection(store, archive, record_for(data, spot()), data, **PLACE)
        except StoreFull:
            return count
    raise AssertionError("the small disk never filled up")


@pytest.mark.usefixtures("sqlite_only")
def test_a_disk_that_fills_up_while_logging_loses_no_logged_inspection(small_disk):
    store, archive = tasks.open_log(small_disk, Settings())
    tasks.open_job(store, NewJob("Bowser"), person="Ida", at=AT)
    logged = log_until_full(store, archive)
    inspections = tasks.job_story(store, "1").spots[0].passes[0].inspections
    assert logged > 5
    assert [archive.get(one.photo_sha256) for one in inspections] == [f"photo {n}".encode() for n in range(logged)]


@pytest.mark.usefixtures("sqlite_only")
def test_a_new_store_on_a_full_disk_is_one_line(small_disk):
    fill(small_disk)
    with pytest.raises(StoreFull):
        tasks.open_log(small_disk / "store", Settings())
