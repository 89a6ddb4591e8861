"""Photos of a batch in an object store. Default tier: a folder spoken to as an object store, and obstore's store in memory."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest
from obstore.store import MemoryStore

from prepcheck.archive.bucket import Bucket, Found
from prepcheck.batch import objects
from prepcheck.batch.objects import Objects, open_objects
from prepcheck.batch.sources import HIDDEN, NO_PHOTO, STRANGE_NAME, Item, Most, photos
from prepcheck.errors import StillChanging, StoreFault, TooLarge, Unreadable, WrongUse

SHOP = "s3://shop/photos"


@pytest.fixture
def store(monkeypatch: pytest.MonkeyPatch) -> MemoryStore:
    """What every address leads to."""
    made = MemoryStore()
    monkeypatch.setattr(objects, "_opened", lambda address: Bucket(address, made))
    return made


@pytest.fixture
def source(store: MemoryStore) -> Objects:
    return open_objects(SHOP, Most(100, 100))


class Faulty(Bucket):
    """A bucket of one photo that is told otherwise each time it is asked."""

    def __init__(self, marks: list[str]) -> None:
        self.marks = iter(marks)

    def find(self, name: str) -> Found | None:
        return Found(name, 1, next(self.marks))

    def read(self, name: str, most: int) -> tuple[bytes, Found] | None:
        mark = next(self.marks)
        return mark.encode(), Found(name, 1, mark)

    def names(self):
        yield Found("a.jpg", 1, "x")
        raise StoreFault("does not answer as it should", "Check the network", SHOP)


def faulty(monkeypatch: pytest.MonkeyPatch, *marks: str) -> Objects:
    bucket = Faulty(list(marks))
    monkeypatch.setattr(objects, "_opened", lambda address: bucket)
    return Objects(SHOP, Most(100, 100))


def test_photos_are_listed_with_size_and_mark_and_others_with_the_reason(source, store):
    for name in ("a.jpg", "below/B.PNG", "list.csv", ".trash/c.jpg"):
        store.put(name, b"12")
    assert {item.name: item.left_out for item in source.items()} == {
        "a.jpg": "", "below/B.PNG": "", "list.csv": NO_PHOTO, ".trash/c.jpg": HIDDEN,
    }  # fmt: skip
    assert {(item.size, bool(item.stamp)) for item in photos(source)} == {(2, True)}


def test_names_that_differ_by_case_or_unicode_form_are_several_photos(source, store):
    names = {"a.jpg", "A.jpg", "\u00e9.jpg", "e\u0301.jpg"}
    for name in names:
        store.put(name, b"12")
    assert {item.name for item in photos(source)} == names


def test_a_name_that_no_file_may_have_is_left_out(source, store):
    store.put("C:x.jpg", b"12")
    assert [item.left_out for item in source.items()] == [STRANGE_NAME]


def test_a_photo_is_read_whole(source, store):
    store.put("a.jpg", b"photo")
    assert source.read(next(source.items())) == b"photo"


def test_a_changed_photo_has_another_stamp(source, store):
    stamps = set()
    for data in (b"one", b"two"):
        store.put("a.jpg", data)
        stamps.add(next(source.items()).stamp)
    assert len(stamps) == 2


def test_a_photo_beyond_the_limit_is_not_read(source, store):
    store.put("a.jpg", b"x" * 101)
    with pytest.raises(TooLarge, match="has 101 bytes, at most 100"):
        source.read(next(source.items()))


def test_a_photo_that_is_gone_is_told(source, store):
    with pytest.raises(Unreadable, match="is gone"):
        source.read(Item("a.jpg"))


def test_a_photo_that_changes_once_while_it_is_read_is_read_again(monkeypatch):
    assert faulty(monkeypatch, "1", "2", "2", "2").read(Item("a.jpg")) == b"2"


def test_a_photo_that_goes_on_changing_is_told(monkeypatch):
    with pytest.raises(StillChanging):
        faulty(monkeypatch, *"123456").read(Item("a.jpg"))


def test_a_server_that_is_gone_in_the_middle_of_the_list_is_told(monkeypatch):
    listing = faulty(monkeypatch).items()
    assert next(listing).name == "a.jpg"
    with pytest.raises(Unreadable, match="does not answer"):
        next(listing)


def test_a_list_without_an_end_is_ended(source, store, monkeypatch):
    monkeypatch.setattr(objects, "MOST_OBJECTS", 2)
    for name in "abc":
        store.put(name, b"")
    with pytest.raises(TooLarge, match="more than 2 objects"):
        list(source.items())


def test_it_travels_to_a_worker_and_reads_there(tmp_path: Path):
    (tmp_path / "a.jpg").write_bytes(b"photo")
    source = pickle.loads(pickle.dumps(open_objects(f"file://{tmp_path}", Most(100, 100))))
    assert [source.read(item) for item in photos(source)] == [b"photo"]


def test_a_folder_of_this_computer_is_not_shared_with_others(tmp_path: Path):
    assert [Objects(f"file://{tmp_path}", Most(1, 1)).is_shared, Objects(SHOP, Most(1, 1)).is_shared] == [False, True]


def test_an_address_that_cannot_be_used_is_refused_at_once():
    with pytest.raises(WrongUse):
        open_objects("ftp://shop/photos", Most(100, 100))


def test_a_folder_that_is_not_there_is_told(tmp_path: Path):
    with pytest.raises((WrongUse, Unreadable), match="none"):
        list(open_objects(f"file://{tmp_path}/none", Most(100, 100)).items())
