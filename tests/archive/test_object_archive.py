"""Photos in an object store: the same promises as in a folder. Default tier: the stores of obstore in memory and in a folder."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest
from obstore.store import LocalStore, MemoryStore

from prepcheck.archive import Archive, FolderArchive
from prepcheck.archive.bucket import Bucket, open_bucket
from prepcheck.archive.carried import Carried
from prepcheck.archive.object_archive import ObjectArchive
from prepcheck.errors import StoreFault, UnknownRecord

# FIPS 180-4 example: SHA-256 of the three bytes "abc"
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
NAME = f"ba/{ABC}"


@pytest.fixture
def store() -> MemoryStore:
    return MemoryStore()


@pytest.fixture
def archive(store: MemoryStore) -> ObjectArchive:
    return ObjectArchive(Bucket("s3://shop/photos", store))


@pytest.fixture(params=["folder", "memory", "objects in a folder", "carried"])
def any_archive(request: pytest.FixtureRequest, tmp_path: Path) -> Archive:
    if request.param == "folder":
        return FolderArchive(tmp_path / "photos")
    if request.param == "carried":
        return Carried({})
    stores = {"memory": MemoryStore, "objects in a folder": lambda: LocalStore(tmp_path)}
    return ObjectArchive(Bucket("a store", stores[request.param]()))


def test_what_was_put_in_comes_out_of_every_archive(any_archive):
    data = bytes(range(256)) * 100
    assert any_archive.get(any_archive.put(data, "PNG")) == data


def test_every_archive_keeps_the_same_bytes_once(any_archive):
    assert [any_archive.put(b"abc", "JPEG"), any_archive.put(b"abc", "PNG")] == [ABC, ABC]
    assert list(any_archive.kept()) == [ABC]


def test_an_erased_photo_is_gone_from_every_archive_and_can_be_erased_again(any_archive):
    any_archive.put(b"abc")
    for _ in range(2):
        any_archive.erase(ABC)
    assert not any_archive.has(ABC)
    with pytest.raises(UnknownRecord, match="no such photo"):
        any_archive.get(ABC)


@pytest.mark.parametrize("sha256", ["0" * 64, "../../etc/passwd", "", "*", "ba/" + ABC])
def test_a_hash_that_was_never_put_in_is_unknown_to_every_archive(any_archive, sha256):
    any_archive.put(b"abc")
    any_archive.erase(sha256)
    assert not any_archive.has(sha256)
    with pytest.raises(UnknownRecord, match="no such photo"):
        any_archive.get(sha256)


def test_a_photo_is_the_object_named_by_its_sha256(archive, store):
    archive.put(b"abc", "JPEG")
    assert bytes(store.get(NAME).bytes()) == b"abc"


@pytest.mark.parametrize("data", [b"abd", b"", b"abcabc"])
def test_a_changed_object_is_noticed_when_read_and_when_put_in_again(archive, store, data):
    store.put(NAME, data)
    for ask in (lambda: archive.get(ABC), lambda: archive.put(b"abc")):
        with pytest.raises(StoreFault, match="changed since it was logged"):
            ask()


def test_an_object_is_never_written_over(archive, store, monkeypatch):
    store.put(NAME, b"somebody else's")
    monkeypatch.setattr(archive, "_has", lambda sha256: False)  # another program was faster
    with pytest.raises(StoreFault, match="changed since it was logged"):
        archive.put(b"abc")
    assert bytes(store.get(NAME).bytes()) == b"somebody else's"


def test_two_that_put_in_the_same_photo_at_once_both_succeed(archive, store, monkeypatch):
    store.put(NAME, b"abc")
    monkeypatch.setattr(archive, "_has", lambda sha256: False)
    assert archive.put(b"abc") == ABC


def test_an_object_too_large_for_a_photo_is_not_read(archive, store, monkeypatch):
    monkeypatch.setattr("prepcheck.archive.object_archive._MOST_BYTES", 2)
    store.put(NAME, b"abc")
    with pytest.raises(StoreFault, match="changed since it was logged"):
        archive.get(ABC)


def test_objects_with_other_names_are_no_photos(archive, store):
    archive.put(b"abc")
    for name in ("readme.txt", f"xx/{ABC}", ABC, f"a/ba/{ABC}"):
        store.put(name, b"x")
    assert list(archive.kept()) == [ABC]


def test_photos_that_are_carried_are_checked_again(archive, store):
    carried = Carried.of(archive, [archive.put(b"abc")])
    assert carried.get(ABC) == b"abc"
    with pytest.raises(StoreFault, match="changed since it was logged"):
        Carried({ABC: b"abd"}).get(ABC)


def test_only_an_archive_on_a_server_is_shared_with_other_machines(archive, tmp_path):
    assert [archive.is_shared, FolderArchive(tmp_path).is_shared, Carried({}).is_shared] == [True, False, False]


def test_an_archive_travels_by_its_address_and_without_credentials(monkeypatch):
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "invented")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "hidden")
    packed = pickle.dumps(ObjectArchive(open_bucket("s3://shop/photos")))
    assert b"hidden" not in packed
    assert pickle.loads(packed).place == "s3://shop/photos"
