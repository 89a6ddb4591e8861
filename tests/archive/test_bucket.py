"""Addresses of object stores, and what is told of their faults. Default tier; no server is asked."""

from __future__ import annotations

import sys
from types import SimpleNamespace

import obstore.exceptions as faults
import pytest
from obstore.store import MemoryStore

from prepcheck.archive.bucket import Bucket, _keys_of_file, is_address, is_here, open_bucket
from prepcheck.errors import StoreFault, TooLarge, WrongUse


@pytest.fixture(autouse=True)
def _no_surroundings(monkeypatch: pytest.MonkeyPatch, tmp_path) -> None:
    for name in ("AWS_ENDPOINT_URL", "AWS_ENDPOINT_URL_S3", "AWS_ENDPOINT", "AWS_ACCESS_KEY_ID", "AWS_PROFILE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("AWS_SHARED_CREDENTIALS_FILE", str(tmp_path / "credentials"))


@pytest.mark.parametrize("address", ["s3://shop/photos/2026", "gs://shop/photos", "file:///tmp"])
def test_an_address_is_shown_as_it_was_given(address):
    assert open_bucket(address).place == address


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("ftp://shop/photos", "no object store known here"),
        ("memory:///", "no object store known here"),
        ("http://shop/photos", "no object store known here"),
        ("s3:///photos", "no whole address"),
        ("s3://shop/../other", "no whole address"),
        ("file://shop/photos", "no whole address"),
        ("s3://[shop", "no address"),
    ],
)
def test_what_is_no_address_of_an_object_store_is_refused(address, told):
    with pytest.raises(WrongUse, match=told):
        open_bucket(address)


@pytest.mark.parametrize(
    "address",
    ["s3://KEY:hidden@shop/photos", "s3://shop/photos?secret=hidden", "s3://shop/photos#hidden", "s3://[?hidden"],
)
def test_credentials_in_an_address_are_refused_and_not_repeated(address):
    with pytest.raises(WrongUse) as refused:
        open_bucket(address)
    assert "hidden" not in refused.value.message


@pytest.mark.parametrize("server", ["http://store.example:9000", "http://10.0.0.7:9000", "http://127.0.0.1.example"])
def test_photos_do_not_travel_unencrypted(monkeypatch, server):
    monkeypatch.setenv("AWS_ENDPOINT_URL", server)
    with pytest.raises(WrongUse, match="unencrypted"):
        open_bucket("s3://shop/photos")


@pytest.mark.parametrize(
    "server", ["http://127.0.0.1:9000", "http://[::1]:9000", "http://localhost:9", "https://a.example"]
)
def test_a_server_on_this_computer_or_with_https_may_be_used(monkeypatch, server):
    monkeypatch.setenv("AWS_ENDPOINT_URL", server)
    assert open_bucket("s3://shop/photos").place == "s3://shop/photos"


def test_without_the_optional_part_the_way_to_it_is_told(monkeypatch):
    monkeypatch.setitem(sys.modules, "obstore.store", None)
    with pytest.raises(WrongUse, match=r"prepcheck\[objectstore\]"):
        open_bucket("s3://shop/photos")


def test_credentials_are_read_from_the_usual_file_by_profile(monkeypatch, tmp_path):
    (tmp_path / "credentials").write_text(
        "[default]\naws_access_key_id = one\naws_secret_access_key = a%b\n[shop]\naws_access_key_id = two\nregion = x\n"
    )
    assert _keys_of_file() == {"aws_access_key_id": "one", "aws_secret_access_key": "a%b"}
    monkeypatch.setenv("AWS_PROFILE", "shop")
    assert _keys_of_file() == {"aws_access_key_id": "two"}


@pytest.mark.parametrize("text", ["no profile", "[other]\naws_access_key_id = x\n", "[default\n", ""])
def test_a_file_without_credentials_gives_none(tmp_path, text):
    (tmp_path / "credentials").write_text(text)
    assert _keys_of_file() == {}


def test_the_environment_comes_before_the_file(monkeypatch, tmp_path):
    (tmp_path / "credentials").write_text("[default]\naws_access_key_id = one\n")
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "env")
    assert _keys_of_file() == {}


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (faults.PermissionDeniedError("x"), "does not let you in"),
        (faults.UnauthenticatedError("x"), "does not know your credentials"),
        (
            faults.GenericError("KEY status code: 503 Service Unavailable: x"),
            r"as it should \(status 503\)",
        ),
        (faults.GenericError("Error getting credentials from KEY"), "has no credentials"),
        (faults.GenericError("KEY status code: 404 Not Found"), "is not there"),
        (faults.GenericError("KEY status code: 403 Forbidden"), "does not let you in"),
        (faults.InvalidPathError("KEY//x"), "a name that no file may have"),
        (NotImplementedError("KEY"), "only once"),
        (FileNotFoundError("KEY"), "is not there"),
        (OSError("KEY"), "does not answer"),
    ],
)
def test_a_fault_of_the_server_is_told_in_words_that_repeat_none_of_its_own(error, told):
    def refuse(*_args: object, **_named: object) -> None:
        raise error

    bucket = Bucket("s3://shop/photos", SimpleNamespace(put=refuse))
    with pytest.raises(StoreFault, match=told) as fault:
        bucket.write_new("name", b"data")
    assert fault.value.message.startswith("s3://shop/photos: ")
    assert "KEY" not in fault.value.message


def test_an_object_is_written_once():
    bucket = Bucket("x", MemoryStore())
    assert [bucket.write_new("a", b"one"), bucket.write_new("a", b"two")] == [True, False]
    data, found = bucket.read("a", 3)
    assert (data, found.name, found.size) == (b"one", "a", 3)


def test_an_object_beyond_the_limit_is_not_read():
    bucket = Bucket("x", MemoryStore())
    bucket.write_new("a", b"four")
    with pytest.raises(TooLarge, match="has 4 bytes, at most 3"):
        bucket.read("a", 3)


def test_what_is_not_there_is_none_and_can_be_removed():
    bucket = Bucket("x", MemoryStore())
    bucket.remove("a")
    assert (bucket.find("a"), bucket.read("a", 9), list(bucket.names())) == (None, None, [])


def test_the_mark_changes_with_the_content():
    store = MemoryStore()
    bucket, marks = Bucket("x", store), []
    for data in (b"one", b"two"):
        store.put("a", data)
        marks.append(bucket.find("a").mark)
    assert len(set(marks)) == 2


def test_more_objects_than_one_answer_of_the_server_are_all_listed():
    store = MemoryStore()
    for number in range(2100):
        store.put(f"n{number}", b"")
    assert len({found.name for found in Bucket("x", store).names()}) == 2100


@pytest.mark.parametrize(
    ("host", "here"), [("127.0.0.1", True), ("::1", True), ("127.9.9.9", True), ("10.0.0.1", False)]
)
def test_this_computer_is_known_by_its_number(host, here):
    assert is_here(host) is here


def test_a_path_is_no_address():
    assert [is_address(text) for text in ("C:/photos", "photos", "s3://a", "./s3://a")] == [False, False, True, False]
