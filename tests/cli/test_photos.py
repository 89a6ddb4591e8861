"""Where the photos of the log are, on the command line. Default tier; the object store is one of obstore's, in memory."""

from __future__ import annotations

import json

import pytest
from obstore.store import MemoryStore

from prepcheck.archive import place
from prepcheck.archive.bucket import Bucket
from prepcheck.archive.place import HERE, archive_at

SHOP = "s3://shop/photos"


@pytest.fixture(autouse=True)
def _store(monkeypatch: pytest.MonkeyPatch) -> None:
    made = MemoryStore()
    monkeypatch.setattr(place, "open_bucket", lambda address: Bucket(address, made))


def test_the_folder_of_the_log_is_the_usual_place(command):
    assert command("photos", "where").out == f"The photos of this log are in {command.folder / 'store' / 'photos'}\n"


def test_a_move_says_what_is_where_and_what_to_delete(command):
    archive_at(command.folder / "store", HERE).put(b"abc")
    done = command("photos", "move", SHOP)
    assert (done.code, done.out.splitlines()[0]) == (0, f"1 photos are in {SHOP} now, and new ones go there.")
    assert f"still in {command.folder / 'store' / 'photos'}. Delete them there" in done.out
    assert json.loads(command("photos", "where", "--json").out) == {"place": SHOP}


def test_a_move_without_a_place_to_move_to_is_wrong_use(command):
    done = command("photos", "move", "/mnt/photos")
    assert (done.code, done.complaint) == (
        2, "/mnt/photos: is no place for photos. Give an address like s3://bucket/folder, or: folder."
    )  # fmt: skip


def test_json_counts_the_photos(command):
    archive_at(command.folder / "store", HERE).put(b"abc")
    told = json.loads(command("photos", "move", SHOP, "--json").out)
    assert (told["place"], told["photos"]) == (SHOP, 1)
