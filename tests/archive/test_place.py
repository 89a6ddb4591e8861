"""Where a log's photos are, and moving them. Default tier: the object store is one of obstore's, in memory."""

from __future__ import annotations

from pathlib import Path

import pytest
from obstore.store import MemoryStore

from prepcheck.archive import place as places
from prepcheck.archive.bucket import Bucket
from prepcheck.archive.object_archive import ObjectArchive
from prepcheck.archive.place import HERE, PLACE_FILE, archive_at, move_photos, open_archive
from prepcheck.errors import BadSettings, StoreFault, WrongUse

SHOP = "s3://shop/photos"


@pytest.fixture
def store(monkeypatch: pytest.MonkeyPatch) -> MemoryStore:
    """What every address leads to."""
    made = MemoryStore()
    monkeypatch.setattr(places, "open_bucket", lambda address: Bucket(address, made))
    return made


def photos(folder: Path, count: int = 3) -> list[str]:
    return [archive_at(folder, HERE).put(bytes([number]), "JPEG") for number in range(count)]


def test_without_a_word_photos_are_in_the_folder_of_the_log(tmp_path):
    assert open_archive(tmp_path).place == str(tmp_path / "photos")


def test_the_file_beside_the_log_names_another_place(tmp_path, store):
    (tmp_path / PLACE_FILE).write_text(f'place = "{SHOP}"\n')
    archive = open_archive(tmp_path)
    assert (type(archive), archive.place) == (ObjectArchive, SHOP)


@pytest.mark.parametrize("text", ["", "place = 3", "place", 'place = "s3://a/b"\nkey = "x"', "place = ["])
def test_a_file_that_names_no_place_is_refused(tmp_path, text):
    (tmp_path / PLACE_FILE).write_text(text)
    with pytest.raises(BadSettings, match=PLACE_FILE):
        open_archive(tmp_path)


@pytest.mark.parametrize("place", ["file:///photos", "photos", "/photos", ""])
def test_a_path_is_no_place_for_the_photos_of_a_log(tmp_path, place):
    with pytest.raises(WrongUse, match="is no place for photos"):
        archive_at(tmp_path, place)


def test_all_photos_are_moved_and_found_in_the_new_place(tmp_path, store):
    kept = photos(tmp_path)
    archive, count = move_photos(tmp_path, SHOP)
    assert (archive.place, count) == (SHOP, 3)
    assert [open_archive(tmp_path).get(sha256) for sha256 in kept] == [b"\0", b"\1", b"\2"]


def test_photos_come_back_into_the_folder(tmp_path, store):
    kept = photos(tmp_path)
    move_photos(tmp_path, SHOP)
    for sha256 in kept:
        archive_at(tmp_path, HERE).erase(sha256)
    move_photos(tmp_path, HERE)
    assert sorted(open_archive(tmp_path).kept()) == sorted(kept)
    assert not (tmp_path / PLACE_FILE).exists()


def test_moving_to_where_they_are_is_refused(tmp_path, store):
    with pytest.raises(WrongUse, match="there already"):
        move_photos(tmp_path, HERE)


def test_a_changed_photo_stops_the_move_and_the_log_goes_on_as_before(tmp_path, store):
    photos(tmp_path)
    path = next((tmp_path / "photos").rglob("*.jpg"))
    path.chmod(0o644)
    path.write_bytes(b"changed")
    with pytest.raises(StoreFault, match="changed since it was logged"):
        move_photos(tmp_path, SHOP)
    assert open_archive(tmp_path).place == str(tmp_path / "photos")


def test_a_move_that_was_cut_short_goes_on_where_it_was(tmp_path, store):
    kept = photos(tmp_path)
    ObjectArchive(Bucket(SHOP, store)).put(b"\0")
    assert move_photos(tmp_path, SHOP)[1] == len(kept)


def test_a_photo_that_is_logged_while_others_move_comes_along(tmp_path, store, monkeypatch):
    photos(tmp_path)
    say = places._say

    def slow(folder: Path, place: str) -> None:
        archive_at(folder, HERE).put(b"late", "JPEG")
        say(folder, place)

    monkeypatch.setattr(places, "_say", slow)
    archive, count = move_photos(tmp_path, SHOP)
    assert (count, len(list(archive.kept()))) == (4, 4)
