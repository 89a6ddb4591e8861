"""Where photos come from: nothing is lost, nothing strange gets in, a million entries need no memory."""

from __future__ import annotations

import itertools
import os
import tracemalloc
import zipfile
from pathlib import Path

import pytest

from prepcheck.archive.faults import LIMITS
from prepcheck.batch import sources
from prepcheck.batch.sources import Folder, Item, Most, Zip, open_source, photos, survey
from prepcheck.errors import DamagedPhoto, StillChanging, TooLarge, Unreadable, WrongUse

MOST = Most(1000, 2000)


def touched(folder: Path, *names: str) -> Folder:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(name.encode())
    return Folder(folder, MOST)


def names(source: sources.Source) -> list[str]:
    return sorted(item.name for item in photos(source))


def zipped(path: Path, **entries: bytes) -> Zip:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in entries.items():
            file.writestr(name.replace("__", "/"), data)
    return Zip(path, MOST)


def test_photos_are_found_in_all_folders_below(tmp_path):
    assert names(touched(tmp_path, "a.jpg", "b/c.JPEG", "b/d/e.heic")) == ["a.jpg", "b/c.JPEG", "b/d/e.heic"]


def test_what_is_hidden_or_no_photo_is_left_out_and_counted(tmp_path):
    source = touched(tmp_path, "a.jpg", ".b.jpg", ".hidden/c.jpg", "notes.txt", "film.avi", "__MACOSX/x.jpg")
    assert survey(source) == sources.Survey(1, 5, {sources.HIDDEN: 3, sources.NO_PHOTO: 2})


def test_a_loop_of_links_is_not_followed(tmp_path):
    source = touched(tmp_path, "a.jpg", "b/c.jpg")
    (tmp_path / "b" / "up").symlink_to(tmp_path)
    (tmp_path / "b" / "self.jpg").symlink_to("self.jpg")
    assert names(source) == ["a.jpg", "b/c.jpg", "b/self.jpg"]


def test_a_link_to_nowhere_is_an_error_of_its_own(tmp_path):
    (tmp_path / "gone.jpg").symlink_to("nowhere")
    (item,) = photos(Folder(tmp_path, MOST))
    with pytest.raises(Unreadable, match="No such file"):
        Folder(tmp_path, MOST).read(item)


def test_a_link_to_a_photo_is_read(tmp_path):
    source = touched(tmp_path, "a.jpg")
    (tmp_path / "b.jpg").symlink_to("a.jpg")
    assert source.read(Item("b.jpg")) == b"a.jpg"


def test_names_that_differ_in_case_or_unicode_form_are_both_kept(tmp_path):
    pair = ["IMG.jpg", "img.jpg", "s\u00e4ge.jpg", "sa\u0308ge.jpg"]
    assert names(touched(tmp_path, *pair)) == sorted(pair)


def test_names_that_are_no_text_are_kept(tmp_path):
    (tmp_path / os.fsdecode(b"\xff.jpg")).write_bytes(b"x")
    (item,) = photos(Folder(tmp_path, MOST))
    assert Folder(tmp_path, MOST).read(item) == b"x"


def test_a_folder_that_cannot_be_listed_is_an_error(tmp_path, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(os, "scandir", refuse)
    with pytest.raises(Unreadable, match="cannot be listed"):
        names(Folder(tmp_path, MOST))


def test_a_photo_beyond_the_limit_is_not_read(tmp_path):
    (tmp_path / "a.jpg").write_bytes(bytes(MOST.photo + 1))
    with pytest.raises(TooLarge):
        Folder(tmp_path, MOST).read(Item("a.jpg"))


def test_the_stamp_changes_with_the_bytes_even_where_time_and_size_are_put_back(tmp_path):
    path = tmp_path / "a.jpg"
    path.write_bytes(b"one")
    before, status = next(photos(Folder(tmp_path, MOST))).stamp, path.stat()
    path.write_bytes(b"two")
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert next(photos(Folder(tmp_path, MOST))).stamp != before


def changing(monkeypatch: pytest.MonkeyPatch, path: Path, times: int) -> None:
    """Has somebody write to a file whenever it is read, `times` times."""
    left, really = itertools.count(times, -1), sources.read_bytes

    def read(path, most):
        data = really(path, most)
        if next(left) > 0:
            path.write_bytes(data + b"!")
        return data

    monkeypatch.setattr(sources, "read_bytes", read)


def test_a_photo_that_changes_while_it_is_read_is_read_again(tmp_path, monkeypatch):
    source = touched(tmp_path, "a.jpg")
    changing(monkeypatch, tmp_path / "a.jpg", 1)
    assert source.read(Item("a.jpg")) == b"a.jpg!"


def test_a_photo_that_does_not_stop_changing_is_an_error(tmp_path, monkeypatch):
    source = touched(tmp_path, "a.jpg")
    changing(monkeypatch, tmp_path / "a.jpg", 9)
    with pytest.raises(StillChanging, match=r"a\.jpg: changes while it is read"):
        source.read(Item("a.jpg"))


def test_memory_does_not_grow_with_the_number_of_entries(tmp_path, monkeypatch):
    class Entry:
        def __init__(self, number):
            self.name = f"{number}.txt"

        def is_dir(self, *, follow_symlinks):
            return False

    count = 5_000
    monkeypatch.setattr(sources, "_listed", lambda folder: (Entry(number) for number in range(count)))
    tracemalloc.start()
    counted = survey(Folder(tmp_path, MOST))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert (counted.left_out, peak < 4 * count) == ({sources.NO_PHOTO: count}, True)  # nothing is kept of an entry


def test_photos_in_a_zip_file_are_read(tmp_path):
    source = zipped(tmp_path / "x.zip", **{"a.jpg": b"one", "b__c.png": b"two", "notes.txt": b""})
    assert {item.name: source.read(item) for item in photos(source)} == {"a.jpg": b"one", "b/c.png": b"two"}


def test_of_two_entries_with_one_name_the_later_counts(tmp_path):
    with zipfile.ZipFile(tmp_path / "x.zip", "w") as file:
        file.writestr("a.jpg", b"old")
        with pytest.warns(UserWarning, match="Duplicate name"):
            file.writestr("a.jpg", b"new")
    source = Zip(tmp_path / "x.zip", MOST)
    assert [source.read(item) for item in photos(source)] == [b"new"]


@pytest.mark.parametrize("name", ["../out.jpg", "/root.jpg", "C:\\x.jpg"])
def test_a_name_that_leads_out_is_left_out(tmp_path, name):
    assert survey(zipped(tmp_path / "x.zip", **{name: b"x"})).left_out == {sources.STRANGE_NAME: 1}


def test_an_entry_beyond_the_limit_is_not_unpacked(tmp_path):
    with pytest.raises(TooLarge, match="holds more than"):
        zipped(tmp_path / "x.zip", **{"a.jpg": os.urandom(MOST.photo + 1)}).read(Item("a.jpg"))


def test_an_entry_that_swells_is_not_unpacked(tmp_path):
    path = tmp_path / "x.zip"
    zipped(path, **{"a.jpg": bytes(2 * LIMITS.small)})
    with pytest.raises(TooLarge, match="swells"):
        Zip(path, Most(10**9, 10**9)).read(Item("a.jpg"))


def test_a_zip_file_with_too_many_entries_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(sources, "MOST_ENTRIES", 1)
    with pytest.raises(TooLarge, match="entries"):
        names(zipped(tmp_path / "x.zip", **{"a.jpg": b"", "b.jpg": b""}))


def test_an_entry_with_a_wrong_check_sum_is_damaged(tmp_path):
    path = tmp_path / "x.zip"
    with zipfile.ZipFile(path, "w") as file:
        file.writestr("a.jpg", b"right bytes")
    path.write_bytes(path.read_bytes().replace(b"right bytes", b"wrong bytes"))
    with pytest.raises(DamagedPhoto, match="cannot be unpacked"):
        Zip(path, MOST).read(Item("a.jpg"))


def test_a_zip_file_that_was_made_anew_is_opened_anew(tmp_path):
    path = tmp_path / "x.zip"
    assert zipped(path, **{"a.jpg": b"one"}).read(Item("a.jpg")) == b"one"
    assert zipped(path, **{"a.jpg": b"other"}).read(Item("a.jpg")) == b"other"


def test_what_is_no_zip_file_is_refused(tmp_path):
    (tmp_path / "x.zip").write_bytes(b"nothing of the kind")
    with pytest.raises(Unreadable, match="no zip file"):
        names(Zip(tmp_path / "x.zip", MOST))


def test_a_source_is_a_folder_or_a_zip_file(tmp_path):
    zipped(tmp_path / "x.zip")
    kinds = [type(open_source(path, MOST)) for path in (tmp_path, tmp_path / "x.zip")]
    assert kinds == [Folder, Zip]


def test_a_source_that_is_not_there_is_wrong_use(tmp_path):
    with pytest.raises(WrongUse, match="neither a folder nor a zip file"):
        open_source(tmp_path / "gone", MOST)
