"""Zip files made to harm: nothing is unpacked, followed or believed; each fault is told."""

from __future__ import annotations

import io
import struct
import warnings
import zipfile
from pathlib import Path

import pytest

from prepcheck.archive.bag import check_bag
from prepcheck.archive.bag_parts import DECLARATION
from prepcheck.archive.bag_source import open_source
from prepcheck.archive.faults import Limits
from prepcheck.errors import BrokenBag
from tests.archive import sealed as s
from tests.archive.test_bag import TEXT, line


def zipped(path: Path, *more: tuple[str | zipfile.ZipInfo, bytes], inside: str = "", packed: bool = False) -> Path:
    """Write a small whole bag with `more` entries."""
    kind = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
    with warnings.catch_warnings(), zipfile.ZipFile(path, "w", kind) as file:
        warnings.simplefilter("ignore")  # of names written twice
        file.writestr(f"{inside}bagit.txt", DECLARATION)
        file.writestr(f"{inside}manifest-sha256.txt", line("data/a.txt"))
        file.writestr(f"{inside}data/a.txt", TEXT)
        for name, data in more:
            file.writestr(name, data)
    return path


def faults(path: Path) -> list[tuple[str, str]]:
    return [(fault.kind.value, fault.where) for fault in check_bag(open_source(path), intact=True).faults]


def entry(name: str, mode: int = 0o100644) -> zipfile.ZipInfo:
    made = zipfile.ZipInfo(name)
    made.external_attr = mode << 16
    return made


@pytest.mark.parametrize("inside", ["", "J-0001/"])
@pytest.mark.parametrize("packed", [False, True])
def test_a_whole_bag_has_no_fault_at_the_top_or_in_a_folder(tmp_path, inside, packed):
    assert faults(zipped(tmp_path / "bag.zip", inside=inside, packed=packed)) == []


def test_entries_for_folders_are_no_fault(tmp_path):
    assert faults(zipped(tmp_path / "bag.zip", (entry("data/photos/", 0o40755), b""), ("data/", b""))) == []


@pytest.mark.parametrize(
    "name", ["../evil.txt", "data/../../evil.txt", "/etc/evil", "C:/evil", "~/evil", "data//evil", "data/./evil", "../"]
)
def test_a_name_that_leads_out_of_the_bag_is_a_fault(tmp_path, name):
    found = faults(zipped(tmp_path / "bag.zip", (name, b"evil")))
    assert [kind for kind, _ in found] == ["name"]
    assert [path.name for path in tmp_path.iterdir()] == ["bag.zip"]


def test_a_backslash_in_a_name_is_a_fault(tmp_path):
    made = entry("data/evil.txt")
    made.filename = "data\\evil.txt"
    assert [kind for kind, _ in faults(zipped(tmp_path / "bag.zip", (made, b"evil")))] == ["name"]


def test_a_name_with_a_zero_byte_is_a_fault(tmp_path):
    path = zipped(tmp_path / "bag.zip", ("data/a.txt_x", b"evil"))
    path.write_bytes(path.read_bytes().replace(b"data/a.txt_x", b"data/a.txt\0x"))
    assert ("name", "data/a.txt\\x00x") in faults(path)


@pytest.mark.parametrize("mode", [0o120777, 0o010644, 0o060644])
def test_a_link_or_device_is_a_fault_and_is_not_read(tmp_path, mode):
    assert faults(zipped(tmp_path / "bag.zip", (entry("data/link", mode), b"/etc/passwd"))) == [("name", "data/link")]


@pytest.mark.parametrize(("before", "behind"), [(b"hidden", b""), (b"", b"hidden"), (b"", b"\0")])
def test_bytes_that_belong_to_no_file_of_a_zip_are_a_fault(tmp_path, before, behind):
    path = zipped(tmp_path / "bag.zip")
    assert faults(path) == []
    path.write_bytes(before + path.read_bytes() + behind)
    assert faults(path) == [("added", "the bag")]


def test_a_comment_in_a_zip_is_a_fault(tmp_path):
    path = zipped(tmp_path / "bag.zip")
    with zipfile.ZipFile(path, "a") as file:
        file.comment = b"hidden"
    assert faults(path) == [("added", "the bag")]


def test_the_same_name_twice_is_a_fault(tmp_path):
    assert ("name", "data/a.txt") in faults(zipped(tmp_path / "bag.zip", ("data/a.txt", b"other")))


def test_names_that_differ_in_case_are_a_fault(tmp_path):
    found = faults(zipped(tmp_path / "bag.zip", ("data/A.txt", b"other")))
    assert {("name", "data/a.txt"), ("name", "data/A.txt")} <= set(found)


def test_an_encrypted_entry_is_a_fault(tmp_path):
    path = zipped(tmp_path / "bag.zip", ("data/secret", b"other"))
    data = bytearray(path.read_bytes())
    at = data.rindex(b"PK\x01\x02", 0, data.rindex(b"data/secret"))
    struct.pack_into("<H", data, at + 8, 1)
    path.write_bytes(data)
    assert ("form", "data/secret") in faults(path)


def test_a_bomb_is_told_and_not_unpacked(tmp_path):
    path = zipped(tmp_path / "bag.zip", ("data/zeros", bytes(20_000_000)), packed=True)
    assert path.stat().st_size < 100_000
    assert faults(path) == [("limit", "data/zeros")]


def test_an_entry_that_unpacks_to_more_than_it_says_is_not_read_on(tmp_path):
    path = zipped(tmp_path / "bag.zip", ("data/zeros", bytes(3_000_000)), packed=True)
    data = bytearray(path.read_bytes())
    at = data.rindex(b"PK\x01\x02")
    struct.pack_into("<I", data, at + 24, 100)
    path.write_bytes(data)
    source = open_source(path)
    assert sum(len(chunk) for chunk in chunks_until_fault(source, "data/zeros")) <= 100


def chunks_until_fault(source, path):
    try:
        yield from source.chunks(path)
    except OSError:
        return


def test_entries_that_share_their_bytes_are_a_fault(tmp_path):
    path = zipped(tmp_path / "bag.zip", ("data/b.txt", TEXT))
    data = bytearray(path.read_bytes())
    first = data.index(b"PK\x01\x02")
    last = data.rindex(b"PK\x01\x02", 0, data.rindex(b"data/b.txt"))
    struct.pack_into("<I", data, last + 42, struct.unpack_from("<I", data, first + 42)[0])
    path.write_bytes(data)
    assert faults(path) != []


def test_too_many_entries_are_told_once(tmp_path, monkeypatch):
    monkeypatch.setattr("prepcheck.archive.bag_source.LIMITS", Limits(files=4))
    more = [(f"data/{count}", b"x") for count in range(10)]
    assert faults(zipped(tmp_path / "bag.zip", *more)).count(("limit", "the bag")) == 1


@pytest.mark.parametrize("cut", [1, 30, 100, 200])
def test_a_cut_zip_file_cannot_be_read(tmp_path, cut):
    path = zipped(tmp_path / "bag.zip")
    path.write_bytes(path.read_bytes()[:-cut])
    with pytest.raises(BrokenBag, match="no zip file"):
        open_source(path)


@pytest.mark.parametrize("at", range(0, 400, 7))
def test_a_changed_byte_anywhere_is_a_fault_or_cannot_be_read(tmp_path, at):
    path = s.sealed(tmp_path / "bag.zip", as_zip=True).path
    data = bytearray(path.read_bytes())
    place = at * len(data) // 400
    data[place] ^= 0x55
    s.opened_file(path).write_bytes(data)
    try:
        open_source(path)
    except BrokenBag:
        return
    whole = io.BytesIO(bytes(data))
    assert s.faults(path) != [] or _same_files(whole, path.with_name("again.zip"), tmp_path)


def _same_files(changed: io.BytesIO, again: Path, folder: Path) -> bool:
    """Say whether a change of the wrapping (times, rights, comments) left all names and bytes as they were."""
    original = s.sealed(again, key=s.shop(folder), as_zip=True).path
    with zipfile.ZipFile(changed) as one, zipfile.ZipFile(original) as other:
        names = [name.partition("/")[2] for name in one.namelist()]
        return names == [name.partition("/")[2] for name in other.namelist()] and all(
            one.read(a) == other.read(b) for a, b in zip(one.namelist(), other.namelist(), strict=True)
        )
