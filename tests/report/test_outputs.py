"""Output places: each photo's own, checked before work starts, never those of an input."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from prepcheck.errors import CannotWrite, NameClash, WrongUse
from prepcheck.inspection import inspect
from prepcheck.record import record_of
from prepcheck.report.files import make_folder, write_whole
from prepcheck.report.outputs import Outputs
from prepcheck.settings import Settings
from tests.painted import model, photo, plate

A, B = Path("a.jpg"), Path("b.jpg")


def outputs(*photos: Path, maps: Path | None = None, picture: Path | None = None) -> Outputs:
    return Outputs.of(list(photos), maps=maps, picture=picture)


def test_nothing_is_wanted_unless_asked_for() -> None:
    assert not outputs(A).wanted


@pytest.mark.parametrize("name", ["out.png", "out.JPG", "deep/new/out.jpeg"])
def test_a_name_with_a_suffix_is_one_picture(tmp_path: Path, name: str) -> None:
    assert outputs(A, picture=tmp_path / name).files("a.jpg") == [tmp_path / name]


def test_a_name_without_suffix_is_a_folder_of_pictures(tmp_path: Path) -> None:
    assert outputs(A, B, picture=tmp_path / "seen").files("a.jpg") == [tmp_path / "seen" / "a.marked.jpg"]


def test_a_folder_with_a_dot_in_its_name_is_a_folder_of_pictures(tmp_path: Path) -> None:
    (tmp_path / "24.11").mkdir()
    assert outputs(A, picture=tmp_path / "24.11").files("a.jpg") == [tmp_path / "24.11" / "a.marked.jpg"]


def test_a_picture_file_is_not_enough_for_two_photos(tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="one picture file cannot hold several photos"):
        outputs(A, B, picture=tmp_path / "out.png")


def test_an_unknown_suffix_is_refused_before_work_starts(tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="PNG or JPEG"):
        outputs(A, picture=tmp_path / "out.bmp")


@pytest.mark.parametrize("twin", ["x/a.jpg", "a.png", "A.JPG"])
def test_two_photos_of_one_name_are_refused(tmp_path: Path, twin: str) -> None:
    with pytest.raises(NameClash, match=r"would write the same output files as a\.jpg"):
        outputs(A, Path(twin), maps=tmp_path)


def test_an_input_is_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"evidence")
    with pytest.raises(NameClash, match=r"a\.jpg: would be replaced"):
        outputs(tmp_path / "a.jpg", picture=tmp_path / "a.jpg")
    assert (tmp_path / "a.jpg").read_bytes() == b"evidence"


def test_another_photo_of_the_call_is_never_replaced(tmp_path: Path) -> None:
    for name in ("a.jpg", "a.marked.jpg"):
        (tmp_path / name).write_bytes(b"evidence")
    with pytest.raises(NameClash, match=r"a\.marked\.jpg: would be replaced"):
        outputs(tmp_path / "a.jpg", tmp_path / "a.marked.jpg", picture=tmp_path)


def test_an_older_picture_may_be_replaced(tmp_path: Path) -> None:
    (tmp_path / "out.png").touch()
    assert outputs(A, picture=tmp_path / "out.png").wanted


@pytest.mark.parametrize("place", ["taken", "taken/below"])
def test_a_file_in_place_of_a_folder_is_said_before_work_starts(tmp_path: Path, place: str) -> None:
    (tmp_path / "taken").touch()
    with pytest.raises(CannotWrite, match="cannot be written to"):
        outputs(A, maps=tmp_path / place)


def test_what_was_asked_for_is_written_and_told(tmp_path: Path) -> None:
    inspection = inspect(photo(plate(), name="a.jpg"), model(), Settings())
    asked = outputs(A, maps=tmp_path / "maps", picture=tmp_path / "a.png")
    files = asked.write(inspection, record_of(inspection), job_line=None, when=None)
    assert all(path.is_file() for path in files)
    assert {path.name for path in files} == {"a.png", "a.states.png", "a.spots.png", "a.residue.png"}


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    (tmp_path / "a.png").mkdir()
    with pytest.raises(CannotWrite, match=r"a\.png: cannot be written"):
        write_whole(tmp_path / "a.png", b"data")
    assert [path.name for path in tmp_path.iterdir()] == ["a.png"]


def test_an_ordinary_user_is_told_of_a_folder_without_permission(tmp_path: Path) -> None:
    (tmp_path / "closed").mkdir(mode=0o555)
    tmp_path.chmod(0o755)
    script = (
        "import os, sys; from pathlib import Path; from prepcheck.report.files import make_folder\n"
        "os.chdir(sys.argv[1])\n"
        "if os.geteuid() == 0:\n    os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        "for place in ('closed', 'closed/new'):\n"
        "    try:\n        make_folder(Path(place))\n    except Exception as error:\n        print(error)"
    )
    done = subprocess.run([sys.executable, "-c", script, str(tmp_path)], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == [
        "closed: cannot be written to (no permission). Choose another place.",
        "closed/new: cannot be written to (Permission denied). Choose another place.",
    ]


def test_a_folder_that_is_there_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "old.txt").touch()
    make_folder(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["old.txt"]
