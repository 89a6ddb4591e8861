"""Photo bytes are kept once, under their hash, and checked when read."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from prepcheck.archive import FolderArchive
from prepcheck.errors import StoreFault, StoreFull, UnknownRecord

# FIPS 180-4 example: SHA-256 of the three bytes "abc"
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def archive(tmp_path: Path) -> FolderArchive:
    return FolderArchive(tmp_path / "photos")


def files(archive: FolderArchive) -> list[str]:
    return sorted(path.relative_to(archive.folder).as_posix() for path in archive.folder.rglob("*") if path.is_file())


def test_bytes_lie_under_their_sha256_with_the_suffix_of_their_format(archive):
    assert archive.put(b"abc", "JPEG") == ABC
    assert files(archive) == [f"ba/{ABC}.jpg"]


def test_what_was_put_in_comes_out(archive):
    data = bytes(range(256)) * 100
    assert archive.get(archive.put(data, "PNG")) == data


def test_the_same_bytes_are_stored_once_even_under_another_format(archive):
    archive.put(b"abc", "JPEG")
    archive.put(b"abc", "PNG")
    assert files(archive) == [f"ba/{ABC}.jpg"]


def test_nothing_is_made_before_the_first_photo(archive):
    assert not archive.folder.exists()


@pytest.mark.parametrize("sha256", ["0" * 64, "../../etc/passwd", "", "*"])
def test_a_hash_that_was_never_put_in_is_unknown(archive, sha256):
    archive.put(b"abc")
    with pytest.raises(UnknownRecord, match="no such photo"):
        archive.get(sha256)


def changed(archive: FolderArchive, data: bytes) -> None:
    path = archive.folder / "ba" / f"{ABC}.jpg"
    path.chmod(0o644)
    path.write_bytes(data)


@pytest.mark.parametrize("data", [b"abd", b"", b"abcabc"])
def test_a_changed_file_is_noticed_when_read(archive, data):
    archive.put(b"abc", "JPEG")
    changed(archive, data)
    with pytest.raises(StoreFault, match="changed since it was logged"):
        archive.get(ABC)


def test_a_changed_file_is_noticed_when_the_photo_is_put_in_again(archive):
    archive.put(b"abc", "JPEG")
    changed(archive, b"abd")
    with pytest.raises(StoreFault, match="changed since it was logged"):
        archive.put(b"abc", "JPEG")


def test_a_kept_photo_cannot_be_written_to_by_accident(archive):
    archive.put(b"abc", "JPEG")
    assert (archive.folder / "ba" / f"{ABC}.jpg").stat().st_mode & 0o222 == 0


@pytest.mark.parametrize(
    ("number", "kind"), [(errno.ENOSPC, StoreFull), (errno.EDQUOT, StoreFull), (errno.EIO, StoreFault)]
)
def test_a_failed_write_leaves_no_file_behind(archive, monkeypatch, number, kind):
    def refuse(_descriptor: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", refuse)
    archive.folder.joinpath("ba").mkdir(parents=True)
    with pytest.raises(kind):
        archive.put(b"abc", "JPEG")
    assert files(archive) == []


def test_file_and_folder_are_synced_before_the_hash_is_returned(archive, monkeypatch):
    synced = []
    monkeypatch.setattr(os, "fsync", lambda descriptor: synced.append(Path(f"/proc/self/fd/{descriptor}").readlink()))
    if not Path("/proc/self/fd").exists():
        pytest.skip("needs /proc to see what is synced")
    archive.put(b"abc", "JPEG")
    assert [path.name.endswith(".part") for path in synced[-2:]] == [True, False]
    assert synced[-1] == archive.folder / "ba"


def test_a_file_in_the_way_is_one_line_not_a_traceback(tmp_path):
    (tmp_path / "photos").write_text("not a folder")
    with pytest.raises(StoreFault, match="cannot be used as a store"):
        FolderArchive(tmp_path / "photos").put(b"abc")
