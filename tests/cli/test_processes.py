"""Streams that close, a person who stops it, stores that fail: in processes of their own."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.command import Command, environment, write_plate

ROOT = Path(__file__).parents[2]
RUN = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)  # a background shell hands it down as ignored
from tests import painted
import prepcheck.looking.look
prepcheck.looking.look.load_model = lambda name=None: painted.model()
from prepcheck.cli import run
run()
"""


def start(folder: Path, *arguments: object, **options: object) -> subprocess.Popen[str]:
    """Start ``prepcheck inspect`` with the model that reads painted plates."""
    command = [sys.executable, "-c", RUN, "inspect", *map(str, arguments)]
    surroundings = environment(PYTHONPATH=str(ROOT), PREPCHECK_STORE=str(folder / "store"))
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options}
    return subprocess.Popen(command, cwd=folder, env=surroundings, text=True, **streams)  # type: ignore[call-overload,no-any-return]


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    return write_plate(tmp_path / "good.jpg")


@pytest.mark.parametrize("arguments", [(), ("--json",)])
def test_a_reader_that_stops_early_gets_no_complaint_and_no_exit_code_of_success(
    photo: Path, arguments: tuple[str, ...]
) -> None:
    with start(photo.parent, *arguments, *["good.jpg"] * 6) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.read(10)
        process.stdout.close()
        assert process.stderr.read() == ""
        assert process.wait() == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize("arguments", [(), ("--json",)])
def test_an_output_without_room_is_one_line(photo: Path, arguments: tuple[str, ...]) -> None:
    with Path("/dev/full").open("w") as full, start(photo.parent, *arguments, "good.jpg", stdout=full) as process:
        _, complaint = process.communicate(timeout=60)
    assert process.returncode == 2
    assert complaint == (
        "prepcheck: standard output: cannot be used (No space left on device). Choose another place.\n"
    )


def test_a_person_who_stops_it_sees_no_traceback_and_keeps_what_was_said(photo: Path) -> None:
    with start(photo.parent, "--json", *["good.jpg"] * 200) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        first = process.stdout.readline()
        process.send_signal(signal.SIGINT)
        rest, complaint = process.communicate(timeout=60)
    assert json.loads(first)["standing"] == "bright"
    assert [json.loads(line)["standing"] for line in rest.splitlines()] == ["bright"] * rest.count("\n")
    assert (process.returncode, complaint) == (130, "")


@pytest.mark.usefixtures("sqlite_only")
@pytest.mark.usefixtures("palette")
def test_a_store_locked_by_another_program_loses_no_answer(command: Command, photo: Path) -> None:
    command.open_job()
    (command.folder / "hurry.toml").write_text("[store]\nbusy_seconds = 0.1\n")
    other = sqlite3.connect(command.folder / "store" / "log.sqlite")
    other.execute("BEGIN IMMEDIATE")
    done = command.log("good.jpg", "--settings", "hurry.toml")
    other.close()
    assert (done.code, done.line["standing"]) == (3, "bright")
    assert "is locked by another program" in done.complaint


@pytest.mark.usefixtures("sqlite_only")
@pytest.mark.usefixtures("palette")
def test_a_store_of_a_newer_version_is_refused_before_work_starts(command: Command, photo: Path) -> None:
    command.open_job()
    other = sqlite3.connect(command.folder / "store" / "log.sqlite")
    other.execute("UPDATE prepcheck_version SET version_num = 'v9999_later'")
    other.commit()
    other.close()
    done = command.log("good.jpg")
    assert (done.code, done.out) == (3, "")
    assert "was written by a newer version of prepcheck (v9999_later). Install that version." in done.complaint


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 300 kB."""
    folder = tmp_path / "store"
    folder.mkdir()
    if os.name == "nt" or os.getuid() != 0:
        pytest.skip("needs root to mount a small disk")
    mount = ["mount", "-t", "tmpfs", "-o", "size=420k", "tmpfs", str(folder)]
    made = subprocess.run(mount, capture_output=True, text=True)
    if made.returncode != 0:
        pytest.skip(f"cannot mount a small disk: {made.stderr.strip()}")
    yield folder
    subprocess.run(["umount", folder], check=True)


@pytest.mark.usefixtures("palette")
def test_a_store_on_a_full_disk_loses_no_answer_and_keeps_its_log(command: Command, small_disk: Path) -> None:
    write_plate(command.folder / "large.jpg", size=(960, 1280))
    write_plate(command.folder / "small.jpg")
    command.open_job()
    done = command.log("small.jpg", "large.jpg")
    assert (done.code, [line["standing"] for line in done.lines]) == (3, ["bright", "bright"])
    assert "no room left on the disk; nothing was logged" in done.complaint
    assert [one["photo_name"] for one in command.story()] == ["small.jpg"]


@pytest.mark.usefixtures("palette")
def test_maps_on_a_full_disk_lose_no_answer_and_leave_no_half_file(command: Command, small_disk: Path) -> None:
    write_plate(command.folder / "good.jpg")
    (small_disk / "filler").write_bytes(bytes(419_000))
    done = command.inspect("good.jpg", "--maps", "store")
    assert (done.code, done.line["standing"]) == (2, "bright")
    assert "cannot be written (No space left on device)" in done.complaint
    assert not list(small_disk.glob(".prepcheck-*"))
