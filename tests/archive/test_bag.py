"""The reader of bags tells every departure from RFC 8493; small equivalents of the cases of public suites."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from prepcheck.archive.bag import BagCheck, check_bag
from prepcheck.archive.bag_names import decode, encode, name_fault, twins
from prepcheck.archive.bag_parts import DECLARATION, read_info
from prepcheck.archive.bag_source import open_source

TEXT = b"Not all bags hold water.\n"


def line(path: str, data: bytes = TEXT, algorithm: str = "sha256") -> str:
    return f"{hashlib.new(algorithm, data).hexdigest()}  {path}\n"


def tagged(folder: Path, *names: str) -> None:
    """Write a tag manifest over some tag files."""
    (folder / "tagmanifest-sha256.txt").write_text("".join(line(name, (folder / name).read_bytes()) for name in names))


@pytest.fixture
def folder(tmp_path) -> Path:
    """A small whole bag of version 1.0."""
    (tmp_path / "data").mkdir()
    (tmp_path / "data/a.txt").write_bytes(TEXT)
    (tmp_path / "bagit.txt").write_text(DECLARATION)
    (tmp_path / "bag-info.txt").write_text(f"Payload-Oxum: {len(TEXT)}.1\n")
    (tmp_path / "manifest-sha256.txt").write_text(line("data/a.txt"))
    return tmp_path


def check(folder: Path, *, intact: bool = True) -> BagCheck:
    return check_bag(open_source(folder), intact=intact)


def faults(folder: Path, **options: bool) -> list[tuple[str, str]]:
    return [(fault.kind.value, fault.where) for fault in check(folder, **options).faults]


def words(folder: Path) -> str:
    return " ".join(map(str, check(folder).faults))


def test_a_whole_bag_has_no_fault(folder):
    assert faults(folder) == []


def test_a_bag_with_tag_manifest_has_no_fault(folder):
    tagged(folder, "bagit.txt", "bag-info.txt", "manifest-sha256.txt")
    assert faults(folder) == []


@pytest.mark.parametrize("algorithm", ["sha512", "sha1", "md5"])
def test_other_algorithms_are_read(folder, algorithm):
    (folder / f"manifest-{algorithm}.txt").write_text(line("data/a.txt", algorithm=algorithm))
    assert faults(folder) == []
    (folder / "data/a.txt").write_bytes(TEXT.upper())
    assert faults(folder) == [("changed", "data/a.txt")] * 2


@pytest.mark.parametrize("algorithm", ["sha1", "md5"])
def test_weak_algorithms_are_told(folder, algorithm):
    (folder / f"manifest-{algorithm}.txt").write_text(line("data/a.txt", algorithm=algorithm))
    assert any("can be forged" in said for said in check(folder).said)


def test_an_unknown_algorithm_is_told_and_does_not_count(folder):
    (folder / "manifest-sha256.txt").rename(folder / "manifest-crc99.txt")
    assert "no payload manifest" in words(folder)


# bagit.txt


@pytest.mark.parametrize(
    "text",
    [
        "",
        "BagIt-Version: 1.0\n",
        "BagIt-Version : 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "BagIt-Version:1.0\nTag-File-Character-Encoding: UTF-8\n",
        "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-16\n",
        "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\nmore\n",
        "Tag-File-Character-Encoding: UTF-8\nBagIt-Version: 1.0\n",
        "BagIt-Version: 2.7\nTag-File-Character-Encoding: UTF-8\n",
        "\ufeff" + DECLARATION,
    ],
)
def test_a_declaration_of_another_form_is_a_fault(folder, text):
    (folder / "bagit.txt").write_text(text, encoding="utf-8")
    assert ("form", "bagit.txt") in faults(folder)


@pytest.mark.parametrize("text", [DECLARATION, DECLARATION.replace("\n", "\r\n"), DECLARATION[:-1]])
def test_line_ends_may_be_of_any_kind(folder, text):
    (folder / "bagit.txt").write_bytes(text.encode())
    assert faults(folder) == []


@pytest.mark.parametrize("encoding", ["UTF-16", "ISO-8859-1"])
def test_older_versions_may_use_other_encodings(folder, encoding):
    (folder / "bagit.txt").write_text(f"BagIt-Version: 0.97\nTag-File-Character-Encoding: {encoding}\n")
    (folder / "data/ä.txt").write_bytes(TEXT)
    (folder / "manifest-sha256.txt").write_text(line("data/a.txt") + line("data/ä.txt"), encoding=encoding)
    (folder / "bag-info.txt").unlink()
    assert faults(folder) == []


@pytest.mark.parametrize("encoding", ["UTF-8", "rot13", "hex", "nothing-known"])
def test_a_file_that_is_no_text_in_the_encoding_named_is_a_fault(folder, encoding):
    (folder / "bagit.txt").write_text(f"BagIt-Version: 0.97\nTag-File-Character-Encoding: {encoding}\n")
    (folder / "bag-info.txt").write_bytes(b"\xff\xfe\xff")
    assert ("form", "bag-info.txt") in faults(folder)


# manifests


def test_no_manifest_is_a_fault(folder):
    (folder / "manifest-sha256.txt").unlink()
    assert ("form", "the bag") in faults(folder)


def test_no_payload_folder_is_a_fault(folder):
    (folder / "data/a.txt").unlink()
    (folder / "data").rmdir()
    assert ("form", "the bag") in faults(folder)


def test_an_empty_payload_is_none(folder):
    (folder / "data/a.txt").unlink()
    (folder / "manifest-sha256.txt").write_text("")
    (folder / "bag-info.txt").write_text("Payload-Oxum: 0.0\n")
    assert faults(folder) == []


@pytest.mark.parametrize(
    "text",
    ["nonsense\n", "0123  data/a.txt\n", "g" * 64 + "  data/a.txt\n", "a" * 64 + "\n", "a" * 64 + "data/a.txt\n"],
)
def test_a_line_that_is_no_hash_with_a_path_is_a_fault(folder, text):
    (folder / "manifest-sha256.txt").write_text(line("data/a.txt") + text)
    assert ("form", "manifest-sha256.txt") in faults(folder)


@pytest.mark.parametrize("again", [line("data/a.txt"), line("data/a.txt", b"other"), line("./data/a.txt")])
def test_a_file_listed_twice_is_a_fault(folder, again):
    (folder / "manifest-sha256.txt").write_text(line("data/a.txt") + again)
    assert ("form", "manifest-sha256.txt") in faults(folder)


@pytest.mark.parametrize("start", ["*", "./", "*./"])
def test_lines_of_checksum_tools_are_read(folder, start):
    (folder / "manifest-sha256.txt").write_text(line("data/a.txt").replace("  ", f" {start}"))
    assert faults(folder) == []


def test_capital_letters_in_a_hash_are_read(folder):
    (folder / "manifest-sha256.txt").write_text(hashlib.sha256(TEXT).hexdigest().upper() + " data/a.txt\n")
    assert faults(folder) == []


@pytest.mark.parametrize(
    "path",
    [
        "../a.txt",
        "data/../../a.txt",
        "/etc/passwd",
        "~/a",
        "~root/a",
        "C:\\a",
        "c:/a",
        "\\\\host\\a",
        "data//a",
        "bagit.txt",
    ],
)
@pytest.mark.parametrize("file", ["manifest-sha256.txt", "fetch.txt"])
def test_a_path_that_leads_out_of_the_payload_is_a_fault_and_is_not_touched(folder, path, file):
    text = line(path) if file.startswith("manifest") else f"http://host.invalid/a 1 {path}\n"
    with (folder / file).open("a") as out:
        out.write(text)
    assert faults(folder) == [("name", file)]


@pytest.mark.parametrize("text", ["nonsense\n", "http://host.invalid/a x data/a\n"])
def test_a_line_of_fetch_that_cannot_be_read_is_a_fault(folder, text):
    (folder / "fetch.txt").write_text(text)
    assert ("form", "fetch.txt") in faults(folder)


def test_what_is_to_be_fetched_is_missing_and_never_fetched(folder):
    (folder / "fetch.txt").write_text("http://host.invalid/b 25 data/b.txt\n")
    (folder / "manifest-sha256.txt").write_text(line("data/a.txt") + line("data/b.txt"))
    assert ("missing", "data/b.txt") in faults(folder)


def test_every_manifest_has_to_list_every_file(folder):
    (folder / "manifest-sha512.txt").write_text("")
    assert faults(folder) == [("added", "data/a.txt")]


def test_before_version_1_one_manifest_is_enough(folder):
    (folder / "bagit.txt").write_text("BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n")
    (folder / "manifest-sha512.txt").write_text("")
    assert faults(folder) == []


def test_a_tag_manifest_lists_every_payload_manifest(folder):
    tagged(folder, "bagit.txt")
    assert ("form", "tagmanifest-sha256.txt") in faults(folder)


@pytest.mark.parametrize("path", ["tagmanifest-sha256.txt", "data/a.txt"])
def test_a_tag_manifest_lists_no_payload_and_no_tag_manifest(folder, path):
    (folder / "tagmanifest-sha256.txt").write_text(
        line("manifest-sha256.txt", (folder / "manifest-sha256.txt").read_bytes()) + line(path)
    )
    assert faults(folder) == [("name", "tagmanifest-sha256.txt")]


def test_a_changed_tag_file_shows(folder):
    tagged(folder, "bagit.txt", "manifest-sha256.txt", "bag-info.txt")
    with (folder / "bag-info.txt").open("a") as out:
        out.write("Contact-Name: somebody\n")
    assert faults(folder) == [("changed", "bag-info.txt")]


# Payload-Oxum


@pytest.mark.parametrize("oxum", ["26.1", "25.2", "0.0"])
def test_an_oxum_that_does_not_fit_is_a_fault(folder, oxum):
    (folder / "bag-info.txt").write_text(f"Payload-Oxum: {oxum}\n")
    assert faults(folder, intact=False) == [("changed", "data")]


@pytest.mark.parametrize("oxum", ["", "25", "25.1.1", "-25.1", "x.y"])
def test_an_oxum_of_another_form_is_a_fault(folder, oxum):
    (folder / "bag-info.txt").write_text(f"Payload-Oxum: {oxum}\n")
    assert faults(folder) == [("form", "bag-info.txt")]


def test_an_oxum_told_twice_is_a_fault(folder):
    (folder / "bag-info.txt").write_text("Payload-Oxum: 25.1\nPayload-Oxum: 25.1\n")
    assert faults(folder) == [("form", "bag-info.txt")]


def test_the_right_oxum_never_stands_for_the_hashes(folder):
    (folder / "data/a.txt").write_bytes(TEXT.upper())
    assert faults(folder, intact=False) == []
    assert faults(folder) == [("changed", "data/a.txt")]


def test_an_info_line_may_go_on_on_the_next():
    assert read_info("A: one\n  two\nB : three\nA: four\n") == {"a": ["one two", "four"], "b": ["three"]}


# names


@pytest.mark.parametrize("path", ["data/a\r\nb", "data/100%", "data/%0A", "data/ä ö.txt", "data/a\\b"[:6], "data/%25"])
def test_names_come_back_as_they_were(path):
    assert decode(encode(path)) == path


def test_only_line_ends_and_percent_are_encoded():
    assert encode("data/a b%\r\n~ä") == "data/a b%25%0D%0A~ä"


def test_before_version_1_a_percent_sign_stays():
    assert decode("data/%25", percent=False) == "data/%25"


def test_a_file_with_a_line_end_in_its_name_is_found(folder):
    (folder / "data/a\nb%.txt").write_bytes(TEXT)
    (folder / "manifest-sha256.txt").write_text(line("data/a.txt") + line("data/a%0Ab%25.txt"))
    (folder / "bag-info.txt").unlink()
    assert faults(folder) == []


@pytest.mark.parametrize("path", ["a/" * 16 + "a", "", "a" * 1001, "a\0b", "a\udcff", "a/./b", ".", ".."])
def test_names_that_cannot_be_used(path):
    assert name_fault(path) is not None


def test_names_that_are_one_file_elsewhere_are_told():
    found = twins(["data/Niño", "data/Nin\u0303o", "data/a", "data/A", "data/b"])
    assert sorted(fault.where for fault in found) == sorted(["data/Niño", "data/Nin\u0303o", "data/a", "data/A"])


# files that are no files


def test_a_link_is_a_fault_and_is_not_followed(folder, tmp_path_factory):
    secret = tmp_path_factory.mktemp("elsewhere") / "secret"
    secret.write_bytes(TEXT)
    (folder / "data/a.txt").unlink()
    (folder / "data/a.txt").symlink_to(secret)
    assert {("name", "data/a.txt"), ("missing", "data/a.txt")} <= set(faults(folder))


def test_a_link_to_a_folder_is_not_walked(folder):
    (folder / "data/loop").symlink_to(folder)
    assert faults(folder) == [("name", "data/loop")]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_is_not_read(folder):
    os.mkfifo(folder / "data/pipe")
    assert faults(folder) == [("name", "data/pipe")]


def test_a_file_that_became_a_link_after_looking_is_not_followed(folder):
    source = open_source(folder)
    (folder / "data/a.txt").unlink()
    (folder / "data/a.txt").symlink_to("/dev/zero")
    found = check_bag(source, intact=True)
    assert [(fault.kind, fault.where) for fault in found.faults] == [("changed", "data/a.txt")]


def test_a_name_that_is_no_text_is_told(folder):
    (folder / "data" / os.fsdecode(b"\xff.txt")).write_bytes(TEXT)
    assert any(kind == "name" and where.endswith(".txt") for kind, where in faults(folder))


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_a_file_without_permission_is_told(folder):
    (folder / "data/a.txt").chmod(0)
    assert faults(folder) == [("changed", "data/a.txt")]


def test_folders_nested_too_deep_are_not_walked(folder):
    (folder / "data" / Path(*["d"] * 20)).mkdir(parents=True)
    assert any(kind == "name" for kind, _ in faults(folder))


def test_a_folder_with_too_many_files_is_told_once(folder, monkeypatch):
    from prepcheck.archive import bag_source
    from prepcheck.archive.faults import Limits

    monkeypatch.setattr(bag_source, "LIMITS", Limits(files=5))
    for count in range(3):
        (folder / f"more{count}").mkdir()
        (folder / f"more{count}/a").write_text("x")
        (folder / f"more{count}/b").write_text("x")
    assert [kind for kind, where in faults(folder) if where == "the bag" and kind == "limit"] == ["limit"]


@pytest.mark.parametrize("limit", ["file_bytes", "total_bytes"])
def test_a_file_too_large_is_told_and_not_read(folder, monkeypatch, limit):
    from prepcheck.archive import bag_source
    from prepcheck.archive.faults import Limits

    with (folder / "data/huge").open("wb") as file:
        file.truncate(10_000)
    monkeypatch.setattr(bag_source, "LIMITS", Limits(**{limit: 5_000}))
    assert ("limit", "data/huge") in faults(folder)


def test_a_manifest_too_large_is_told_and_not_read(folder, monkeypatch):
    from prepcheck.archive import bag_source
    from prepcheck.archive.faults import Limits

    monkeypatch.setattr(bag_source, "LIMITS", Limits(tag_bytes=10))
    assert ("changed", "manifest-sha256.txt") in faults(folder)
