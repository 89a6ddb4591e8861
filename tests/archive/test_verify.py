"""Whoever tampers with a sealed bag, without the key, is told of: what, where, and at which depth it shows."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from prepcheck.archive.statement import sha256
from prepcheck.archive.verify import ALONE, REPORT
from prepcheck.errors import BrokenBag, WrongUse
from tests.archive import sealed as s


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    return s.sealed(
        tmp_path_factory.mktemp("shop") / "bag", s.evidence(reports={"report.pdf": b"%PDF-1.7 invented"})
    ).path


@pytest.fixture
def bag(whole, tmp_path) -> Path:
    """A writable copy of a whole bag."""
    return s.opened(Path(shutil.copytree(whole, tmp_path / "bag")))


@pytest.fixture
def photo(bag) -> Path:
    return bag / f"data/photos/{sha256(s.PHOTO)}.jpg"


@pytest.mark.parametrize("depth", ["complete", "intact", "signed"])
def test_no_fault_is_found_in_a_whole_bag_at_any_depth(whole, depth):
    assert s.faults(whole, depth) == []


def test_it_says_which_depth_was_looked_at(whole):
    assert s.looked(whole, "intact").depth == "intact"


def test_without_a_timestamp_the_time_is_the_shops_own_word(whole):
    assert s.looked(whole).time_rests_on == "the shop's own word: no timestamp of another lies in the bag"


def test_at_lesser_depths_nothing_is_said_of_the_time(whole):
    assert s.looked(whole, "intact").time_rests_on == ""


def test_one_changed_byte_shows_at_depth_intact(bag, photo):
    data = bytearray(photo.read_bytes())
    data[100] ^= 1
    photo.write_bytes(data)
    assert s.faults(bag, "complete") == []  # same number of bytes: only the hash tells (standards 6.2)
    assert s.faults(bag, "intact") == [("changed", f"data/photos/{photo.name}")]


def test_one_changed_byte_with_new_manifests_breaks_the_signature(bag, photo):
    photo.write_bytes(photo.read_bytes()[:-1] + b"!")
    s.listed_anew(bag)
    assert s.faults(bag, "intact") == []
    assert ("signature", "head.sig") in s.faults(bag)
    assert ("signature", "manifest-sha256.txt") in s.faults(bag)


@pytest.mark.parametrize("name", ["data/extra.txt", "extra.txt", "data/photos/extra.jpg"])
def test_an_added_file_shows(bag, name):
    (bag / name).write_text("more")
    assert ("added", name) in s.faults(bag, "complete")


def test_an_added_file_with_new_manifests_breaks_the_signature(bag):
    (bag / "data/photos/extra.jpg").write_text("more")
    s.listed_anew(bag)
    found = s.faults(bag)
    assert ("signature", "head.sig") in found
    assert ("log", "data/photos/extra.jpg") in found


def test_a_file_hidden_as_a_second_signature_is_still_added(bag):
    (bag / "head.sig.txt").write_text("more")
    assert ("added", "head.sig.txt") in s.faults(bag)


def test_a_removed_file_shows(bag, photo):
    photo.unlink()
    assert ("missing", f"data/photos/{photo.name}") in s.faults(bag, "complete")


def test_a_removed_file_with_new_manifests_breaks_the_signature(bag, photo):
    photo.unlink()
    s.listed_anew(bag)
    found = s.faults(bag)
    assert ("signature", "head.sig") in found
    assert ("log", f"data/photos/{photo.name}") in found


def test_a_renamed_file_shows_as_missing_and_added(bag, photo):
    photo.rename(photo.with_name("b.jpg"))
    found = s.faults(bag, "complete")
    assert {("missing", f"data/photos/{photo.name}"), ("added", "data/photos/b.jpg")} <= set(found)


def test_two_swapped_files_show(bag):
    one, other = bag / "data/models.json", bag / "data/keys.json"
    a, b = one.read_bytes(), other.read_bytes()
    one.write_bytes(b)
    other.write_bytes(a)
    assert {("changed", "data/models.json"), ("changed", "data/keys.json")} <= set(s.faults(bag, "intact"))


@pytest.mark.parametrize(
    "name", ["head.json", "head.sig", "tagmanifest-sha256.txt", "manifest-sha256.txt", "bagit.txt"]
)
def test_a_missing_part_of_the_seal_shows(bag, name):
    (bag / name).unlink()
    assert any(where == name or name == "tagmanifest-sha256.txt" for _, where in s.faults(bag))


def test_a_signature_of_another_bag_does_not_hold(bag, tmp_path):
    other = s.sealed(tmp_path / "other", at=61)
    (bag / "head.sig").write_bytes((other.path / "head.sig").read_bytes())
    assert s.faults(bag) == [("signature", "head.sig")]


@pytest.mark.parametrize("data", [b"", b"short", b"\0" * 64, b"\0" * 65])
def test_a_signature_of_any_other_form_does_not_hold(bag, data):
    (bag / "head.sig").write_bytes(data)
    assert s.faults(bag) == [("signature", "head.sig")]


def test_all_faults_are_told_not_only_the_first(bag, photo):
    photo.unlink()
    (bag / "data/extra.txt").write_text("more")
    (bag / "data/keys.json").write_bytes(b"{}")
    kinds = {kind for kind, _ in s.faults(bag)}
    assert {"missing", "added", "changed", "form"} <= kinds


@given(st.data())
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_changed_byte_of_any_file_is_a_fault(bag, data):
    path = data.draw(st.sampled_from(sorted(path for path in bag.rglob("*") if path.is_file())))
    before = path.read_bytes()
    at, mask = data.draw(st.integers(0, len(before) - 1)), data.draw(st.integers(1, 255))
    path.write_bytes(before[:at] + bytes([before[at] ^ mask]) + before[at + 1 :])
    try:
        assert s.faults(bag) != []
    finally:
        path.write_bytes(before)


# what one bag cannot show


def test_a_bag_alone_says_what_it_cannot_show(whole):
    assert ALONE in s.looked(whole).told
    assert ALONE not in s.looked(whole, after=whole).told


def test_a_report_is_told_not_to_have_been_held_against_the_log(whole, tmp_path):
    assert REPORT in s.looked(whole).told
    assert REPORT not in s.looked(s.sealed(tmp_path / "bag").path).told


# whose key


def test_whose_key_it_is_is_told_when_none_is_expected(whole):
    found = s.looked(whole)
    assert found.fingerprint == s.shop(whole.parent).fingerprint
    assert any("have the shop read out" in line for line in found.told)


def test_the_expected_key_is_told_as_such(whole):
    key = s.shop(whole.parent)
    for expected in (key.fingerprint, key.fingerprint.replace(" ", ""), key.public, key.public.upper()):
        found = s.looked(whole, key=expected)
        assert found.faults == ()
        assert "the key is the one expected" in found.told


def test_a_bag_from_another_key_is_a_fault_when_one_is_expected(whole, tmp_path):
    assert s.faults(whole, key=s.shop(tmp_path).fingerprint) == [("key", "head.json")]


def test_a_bag_signed_anew_by_somebody_else_is_from_another_key(whole, tmp_path):
    forged = s.sealed(tmp_path / "forged", key=s.shop(tmp_path))
    assert s.faults(forged.path) == []  # whole in itself: only the expected key tells
    assert s.faults(forged.path, key=s.shop(whole.parent).fingerprint) == [("key", "head.json")]


@pytest.mark.parametrize("key", ["", "1234", "x" * 40, "١" * 40, "g" * 64])
def test_what_is_no_fingerprint_is_refused(whole, key):
    with pytest.raises(WrongUse, match="no fingerprint"):
        s.looked(whole, key=key)


@pytest.mark.parametrize("options", [{"after": Path("bag")}, {"authority": b"x"}])
def test_what_only_depth_signed_looks_at_is_refused_at_others(whole, options):
    with pytest.raises(WrongUse, match="depth signed only"):
        s.looked(whole, "intact", **options)


def test_at_lesser_depths_an_expected_key_is_told_not_to_have_been_looked_at(whole):
    assert "whose key signed was not looked at: that is depth signed" in s.looked(whole, "intact", key="0" * 40).told


# what cannot be read


def test_nothing_there_cannot_be_read(tmp_path):
    with pytest.raises(BrokenBag, match="cannot be read"):
        s.looked(tmp_path / "nothing")


def test_a_file_that_is_no_zip_cannot_be_read(tmp_path):
    (tmp_path / "bag.zip").write_bytes(b"PK\x03\x04 no more")
    with pytest.raises(BrokenBag, match="no zip file"):
        s.looked(tmp_path / "bag.zip")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_cannot_be_read(tmp_path):
    os.mkfifo(tmp_path / "bag")
    with pytest.raises(BrokenBag, match="neither a folder nor a file"):
        s.looked(tmp_path / "bag")


def test_an_empty_folder_has_faults(tmp_path):
    assert ("missing", "bagit.txt") in s.faults(tmp_path)


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"statement": "prepcheck seal"}', "[" * 100_000])
def test_a_head_that_is_no_statement_is_a_fault(bag, text):
    (bag / "head.json").write_text(text)
    assert any(where == "head.json" for _, where in s.faults(bag))


@pytest.mark.parametrize("name", ["log.json", "job.json", "photos.json", "keys.json"])
@pytest.mark.parametrize("text", ["{}", "[1]", '"x"', "{", "[" * 100_000, '{"a": 1e999}'])
def test_a_part_that_holds_something_else_is_a_fault(bag, name, text):
    (bag / "data" / name).write_text(text)
    assert any(where == f"data/{name}" and kind != "changed" for kind, where in s.faults(bag))
