"""The writer of bags: by RFC 8493, readable by others, never half, never over something else."""

from __future__ import annotations

import errno
import os
import stat
import zipfile
from pathlib import Path

import bagit
import pytest

from prepcheck.archive import bag_write
from prepcheck.archive.bag import check_bag
from prepcheck.archive.bag_source import open_source
from prepcheck.archive.bag_write import BagWriter, bag_place, beside_of
from prepcheck.errors import NameClash, StoreFault, StoreFull
from tests.archive import sealed as s


def write(place: Path, *, as_zip: bool = False, **files: bytes) -> Path:
    """Write a small bag."""
    with bag_place(place, as_zip=as_zip) as sink:
        bag = BagWriter(sink)
        for name, data in (files or {"a": b"one", "b": b"two"}).items():
            bag.payload(name, data)
        bag.close_payload({"Contact-Name": "Ola\nMika"})
        bag.close()
    return place


def left(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_the_declaration_is_exactly_the_two_lines_of_version_1(tmp_path):
    text = (write(tmp_path / "bag") / "bagit.txt").read_bytes()
    assert text == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


def test_the_oxum_counts_octets_and_files_of_the_payload_alone(tmp_path):
    assert "Payload-Oxum: 6.2\n" in (write(tmp_path / "bag") / "bag-info.txt").read_text()


def test_a_value_of_the_info_stays_on_its_line(tmp_path):
    assert "Contact-Name: Ola Mika\n" in (write(tmp_path / "bag") / "bag-info.txt").read_text()


@pytest.mark.parametrize("as_zip", [False, True])
def test_our_reader_finds_no_fault(tmp_path, as_zip):
    place = write(tmp_path / "bag.zip", as_zip=as_zip, **{"a\n%.txt": b"one", "ö/b": b"two"})
    assert check_bag(open_source(place), intact=True).faults == ()


def test_another_reader_finds_no_fault(tmp_path):
    assert bagit.Bag(str(write(tmp_path / "bag"))).is_valid()


def test_another_reader_finds_no_fault_in_a_sealed_bag(tmp_path):
    bag = bagit.Bag(str(s.sealed(tmp_path / "bag").path))
    assert bag.is_valid()
    assert bag.info["External-Identifier"] == "J-0001"


def test_another_reader_finds_no_fault_in_a_sealed_zip_once_unpacked(tmp_path):
    path = s.sealed(tmp_path / "bag.zip", as_zip=True).path
    with zipfile.ZipFile(path) as file:
        file.extractall(tmp_path / "out")
    assert left(tmp_path / "out") == ["bag"]
    assert bagit.Bag(str(tmp_path / "out/bag")).is_valid()


def test_the_same_files_give_the_same_zip(tmp_path):
    one, other = (write(tmp_path / folder / "bag.zip", as_zip=True) for folder in "ab")
    assert one.read_bytes() == other.read_bytes()


@pytest.mark.parametrize("name", ["../a", "/a", "a//b", "x/" * 20, "a\\b"])
def test_a_name_that_leads_out_is_never_written(tmp_path, name):
    with pytest.raises(StoreFault):
        write(tmp_path / "bag", **{name: b"x"})
    assert left(tmp_path) == []


def test_a_file_is_not_put_in_twice(tmp_path):
    with bag_place(tmp_path / "bag", as_zip=False) as sink:
        bag = BagWriter(sink)
        bag.payload("a", b"x")
        with pytest.raises(StoreFault, match="twice"):
            bag.payload("a", b"x")


@pytest.mark.parametrize("as_zip", [False, True])
def test_what_is_there_is_never_replaced(tmp_path, as_zip):
    (tmp_path / "bag").write_text("something else")
    with pytest.raises(NameClash, match="never replaced"):
        write(tmp_path / "bag", as_zip=as_zip)
    assert (tmp_path / "bag").read_text() == "something else"


@pytest.mark.parametrize("as_zip", [False, True])
def test_a_place_that_cannot_be_written_is_told_as_such(tmp_path, as_zip):
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(StoreFault, match=r"cannot be written \(not a directory\).*--out"):
        write(tmp_path / "file" / "bag", as_zip=as_zip)


@pytest.mark.parametrize("as_zip", [False, True])
def test_what_appears_while_writing_is_not_replaced_and_the_bag_is_kept_beside(tmp_path, as_zip):
    place = tmp_path / "bag"
    with (
        pytest.raises(NameClash),
        bag_place(place, as_zip=as_zip, before_move=lambda _: place.mkdir()) as sink,
    ):
        BagWriter(sink).payload("a", b"x")
    assert list(place.iterdir()) == []
    assert len(beside_of(place)) == 1


@pytest.mark.parametrize("as_zip", [False, True])
@pytest.mark.parametrize(
    ("number", "kind"), [(errno.ENOSPC, StoreFull), (errno.EDQUOT, StoreFull), (errno.EACCES, StoreFault)]
)
def test_a_full_disk_leaves_nothing(tmp_path, monkeypatch, as_zip, number, kind):
    def refuse(descriptor: int) -> None:
        if stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(kind):
        write(tmp_path / "bag", as_zip=as_zip)
    assert left(tmp_path) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_write_to_a_full_device_is_one_line(tmp_path, monkeypatch):
    monkeypatch.setattr(bag_write, "write_new", lambda path, data: Path("/dev/full").write_bytes(data))
    with pytest.raises(StoreFull, match="no room left"):
        write(tmp_path / "bag")
    assert left(tmp_path) == []


@pytest.mark.parametrize("as_zip", [False, True])
def test_a_fault_before_the_bag_gets_its_name_leaves_nothing(tmp_path, as_zip):
    def refuse(_: Path) -> None:
        raise RuntimeError("not logged")

    with (
        pytest.raises(RuntimeError),
        bag_place(tmp_path / "bag", as_zip=as_zip, before_move=refuse) as sink,
    ):
        BagWriter(sink).payload("a", b"x")
    assert left(tmp_path) == []


@pytest.mark.parametrize("as_zip", [False, True])
def test_all_is_synced_before_the_bag_gets_its_name(tmp_path, monkeypatch, as_zip):
    if not Path("/proc/self/fd").exists():
        pytest.skip("needs /proc to see what is synced")
    synced: list[str] = []
    monkeypatch.setattr(
        os, "fsync", lambda descriptor: synced.append(str(Path(f"/proc/self/fd/{descriptor}").readlink()))
    )
    before: list[int] = []
    with bag_place(tmp_path / "bag", as_zip=as_zip, before_move=lambda _: before.append(len(synced))) as sink:
        BagWriter(sink).payload("a", b"x")
    part = [path for path in synced[: before[0]] if ".part" in path]
    assert any(path.endswith("data/a") or as_zip for path in part)
    assert synced[-1] == str(tmp_path)


def test_files_of_a_bag_are_for_reading_only(tmp_path):
    assert (write(tmp_path / "bag") / "data/a").stat().st_mode & 0o222 == 0
