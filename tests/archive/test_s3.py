"""Photos of a log and of a batch on a server that speaks S3. Services tier."""

from __future__ import annotations

import hashlib
import json
import threading
import zipfile
from collections.abc import Iterator

import pytest

from prepcheck.archive import bucket as buckets
from prepcheck.archive.bucket import open_bucket
from prepcheck.archive.object_archive import ObjectArchive
from prepcheck.batch.objects import Objects
from prepcheck.batch.sources import Most, photos
from prepcheck.errors import StoreFault, Unreadable
from prepcheck.samples import samples
from tests.archive.s3_server import BUCKET, S3Server, s3_server

pytestmark = pytest.mark.services
# FIPS 180-4 example: SHA-256 of the three bytes "abc"
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
PLACE = f"s3://{BUCKET}/photos"


@pytest.fixture(scope="module")
def server() -> Iterator[S3Server]:
    with pytest.MonkeyPatch.context() as patch, s3_server(patch) as made:
        yield made


@pytest.fixture
def archive(server: S3Server) -> ObjectArchive:
    return ObjectArchive(open_bucket(PLACE))


def test_a_photo_is_kept_once_under_its_hash(archive, server):
    assert [archive.put(b"abc"), archive.put(b"abc")] == [ABC, ABC]
    assert server.get(f"photos/ba/{ABC}") == b"abc"
    assert ABC in list(archive.kept())


def test_the_server_itself_refuses_to_write_over_a_photo(server):
    bucket = open_bucket(f"s3://{BUCKET}/once")
    assert [bucket.write_new("a", b"one"), bucket.write_new("a", b"two")] == [True, False]
    assert bucket.read("a", 9)[0] == b"one"


def test_of_eight_who_put_in_one_photo_at_once_one_writes_and_all_succeed(server):
    bucket, wrote = open_bucket(f"s3://{BUCKET}/race"), []
    threads = [threading.Thread(target=lambda: wrote.append(bucket.write_new("a", b"x"))) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(wrote) == [False] * 7 + [True]


def test_a_photo_that_was_changed_on_the_server_is_noticed(archive, server):
    sha256 = archive.put(b"abd")
    server.put(f"photos/{sha256[:2]}/{sha256}", b"forged")
    with pytest.raises(StoreFault, match="changed since it was logged"):
        archive.get(sha256)


def test_a_bucket_that_is_not_there_is_told(server):
    nowhere = ObjectArchive(open_bucket("s3://nowhere/photos"))
    with pytest.raises(StoreFault, match="s3://nowhere/photos: is not there"):
        nowhere.put(b"abc")
    with pytest.raises(Unreadable, match="is not there"):
        list(Objects("s3://nowhere/photos", Most(9, 9)).items())


def test_odd_names_are_listed_as_they_are(server):
    names = {"g h.jpg", "x%y.jpg", "x#y?.jpg", "\u00e9.jpg", "e\u0301.jpg", "G H.jpg"}
    for name in names:
        server.put(f"odd/{name}", b"x")
    source = Objects(f"s3://{BUCKET}/odd", Most(9, 9))
    assert {item.name for item in photos(source)} == names
    assert {source.read(item) for item in photos(source)} == {b"x"}


@pytest.mark.parametrize("name", ["b//c.jpg", "d\x01.jpg", "x/./y.jpg"])
def test_a_name_that_cannot_be_listed_is_told(server, name):
    prefix = f"strange{ord(name[0])}"
    server.put(f"{prefix}/{name}", b"x")
    with pytest.raises(Unreadable, match="a name that no file may have"):
        list(Objects(f"s3://{BUCKET}/{prefix}", Most(9, 9)).items())


def test_a_long_list_comes_in_parts(server):
    bucket = open_bucket(f"s3://{BUCKET}/long")
    for number in range(1005):
        bucket.write_new(f"{number:04}.jpg", b"x")
    assert len(list(photos(Objects(f"s3://{BUCKET}/long", Most(9, 9))))) == 1005


@pytest.fixture
def shop(command, server):
    """A job whose log keeps its photos on the server."""
    command.open_job()
    done = command("photos", "move", f"s3://{BUCKET}/{command.folder.name}")
    assert done.code == 0, done.err
    return command


def test_a_whole_job_goes_well_with_its_photos_on_a_server(shop, server):
    sample = next(sample for sample in samples() if sample.spots == 1 and not sample.flags)
    assert shop.log(sample.path).code in (0, 1)
    assert not (shop.folder / "store" / "photos").exists()
    sha256 = hashlib.sha256(sample.path.read_bytes()).hexdigest()
    assert server.get(f"{shop.folder.name}/{sha256[:2]}/{sha256}") == sample.path.read_bytes()
    assert shop("report", "1", "--out", "report").code == 0
    sealed = shop("seal", "1", "--out", "bag.zip", "--person", "Ida")
    assert sealed.code == 0, sealed.err
    assert shop("verify", "bag.zip").code == 0
    with zipfile.ZipFile(shop.folder / "bag.zip") as bag:
        assert any(sha256 in name for name in bag.namelist())
    told = shop("inspect", "--json", sample.path)
    assert told.code in (0, 1)


def test_a_photo_is_erased_on_the_server(shop, server):
    sample = next(sample for sample in samples() if sample.spots == 1 and not sample.flags)
    shop.log(sample.path)
    sha256 = hashlib.sha256(sample.path.read_bytes()).hexdigest()
    assert server.names(f"{shop.folder.name}/") == [f"{shop.folder.name}/{sha256[:2]}/{sha256}"]
    pin = shop.folder / "pin"
    pin.write_text("24680\n")
    pin.chmod(0o600)
    assert shop("person", "add", "Rune", "--role", "keeper", "--new-pin-file", pin).code == 0
    done = shop("erase", "photo", sha256, "--reason", "asked to be forgotten", "--by", "Rune", "--pin-file", pin)
    assert done.code == 0, done.err
    assert server.names(f"{shop.folder.name}/") == []


def test_without_the_server_nothing_is_logged_and_the_answer_is_told_all_the_same(shop, monkeypatch):
    monkeypatch.setattr(buckets, "_SECONDS", 2)
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:9")
    sample = next(sample for sample in samples() if sample.spots == 1 and not sample.flags)
    done = shop.log(sample.path)
    assert done.code == 3
    assert "does not answer as it should" in done.complaint
    assert json.loads(done.out)["standing"]
    assert shop.story() == []
